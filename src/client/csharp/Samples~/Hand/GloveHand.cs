// A hand in a scene, as a component of an engine: it places the joints of a model, and takes a ball. `Engine` stands for your
// engine: put its namespace there. The file is compiled and run here against a stub of the few types that it uses
// (tests/client/csharp/Engine.cs), in no engine itself.
//
// Axes.LeftHandedYUp is right for an engine whose X points right, Y up and Z forward, in metres; see Axes for others.
using Engine;
using Tautline;

public class GloveHand : Component
{
    public HandSide Side = HandSide.Right;
    // In the order of Tautline.Joint; what is missing is passed over. The parent of this component is the wrist's place.
    public Transform[] Joints = new Transform[HandPose.Joints];
    // A thing with a sphere collider, beside the joints in the scene; may be missing.
    public Transform Ball;
    public float BallRadius = 0.035f;

    // One client for both hands.
    private static TautlineClient client;
    private static int users;
    private Grab grab;
    private Vec3 fall;
    private bool warned;

    public GrabState BallState { get { return grab == null ? GrabState.Away : grab.State; } }

    public void Start()
    {
        if (users++ == 0)
        {
            client = new TautlineClient(new ClientOptions { App = "my game", Url = Url, Axes = Axes.LeftHandedYUp, Velocities = true });
            client.Failed += error => Log.Warning(error.ToString());
        }
    }

    public string Url = "ws://127.0.0.1:7117/stream";

    public void Update()
    {
        client.Poll();
        Glove glove = client.Glove(Side);
        if (glove.PoseCount == 0) return;
        if (!glove.Armed && !warned) Log.Warning("To arm: " + glove.HowToArm + ".");
        warned = !glove.Armed;
        for (int joint = 0; joint < Joints.Length; joint++)
        {
            if (Joints[joint] == null) continue;
            Vec3 at = glove.Pose.Position((Joint)joint);
            Quat turn = glove.Pose.Orientation((Joint)joint);
            Joints[joint].LocalPosition = new Vector3(at.X, at.Y, at.Z);
            Joints[joint].LocalRotation = new Quaternion(turn.X, turn.Y, turn.Z, turn.W);
        }
        if (Ball != null) MoveBall();
    }

    private void MoveBall()
    {
        if (grab == null)
            grab = client.Grab(Side, client.Colliders.Sphere(new Placement(Vec3.Zero, Quat.Identity, Vec3.One), Vec3.Zero, BallRadius),
                new HoldOptions { Stiffness = 800 });
        Vector3 p = Ball.LocalPosition;
        Quaternion q = Ball.LocalRotation;
        Vec3 at = new Vec3(p.X, p.Y, p.Z);
        Quat turn = new Quat(q.X, q.Y, q.Z, q.W);
        if (grab.Update(ref at, ref turn) == GrabEvent.LetGo) fall = grab.Velocity;
        // Your engine's physics instead, if the ball has a body: switch that off while the ball is held.
        if (grab.State == GrabState.Held) fall = Vec3.Zero;
        else at = at + fall * Time.Delta;
        Ball.LocalPosition = new Vector3(at.X, at.Y, at.Z);
        Ball.LocalRotation = new Quaternion(turn.X, turn.Y, turn.Z, turn.W);
    }

    public void OnDestroy()
    {
        if (grab != null) grab.Dispose();
        if (--users > 0) return;
        client.Dispose();
        client = null;
    }
}
