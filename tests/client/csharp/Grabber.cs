// An app with a ball that the hand can take, for tests/end-to-end/clients-grab.test.ts: prints what happens to it.
// Arguments: URL [moving]. See tests/client/javascript/grab.mjs. Counts frames that allocate, and prints them at the end.
using System;
using System.Globalization;
using System.Threading;
using Tautline;

internal static class Grabber
{
    private static void Main(string[] args)
    {
        CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
        bool over = false;
        Thread reader = new Thread(() =>
        {
            while (Console.ReadLine() != null) { }
            Volatile.Write(ref over, true);
        });
        reader.IsBackground = true;
        reader.Start();
        // Axes of an engine, so that the way there and back is tried, too.
        using (TautlineClient client = new TautlineClient(new ClientOptions { Url = args[0], App = "grab", Velocities = true, Axes = Axes.LeftHandedYUp }))
        {
            PlacedShape sphere = client.Colliders.Sphere(new Placement(Vec3.Zero, Quat.Identity, Vec3.One * 0.07f), Vec3.Zero, 0.5f);
            Grab grab = client.Grab(HandSide.Right, sphere);
            // Of the stream: (0.25, 0, -1) and (0, 3, 0.5).
            if (args.Length > 1) grab.SetVelocity(new Vec3(0.25f, 0, 1), new Vec3(0, -3, 0.5f));
            Vec3 at = Vec3.Zero;
            Quat turn = Quat.Identity;
            bool placed = false;
            int state = -1, noisy = 0, frames = 0;
            while (!Volatile.Read(ref over))
            {
                long before = GC.GetAllocatedBytesForCurrentThread();
                client.Poll();
                HandPose pose = client.Right.Pose;
                if (!placed && pose.Valid)
                {
                    placed = true;
                    at = pose.Position(Joint.Palm) + pose.Orientation(Joint.Palm).Rotate(new Vec3(0, -0.055f, 0.03f));
                }
                GrabEvent what = grab.Update(ref at, ref turn);
                if (frames == 400) Console.WriteLine("warm");
                if (frames++ > 200 && GC.GetAllocatedBytesForCurrentThread() != before) noisy++;
                Vec3 shown = client.Axes.ToStream(what == GrabEvent.LetGo ? grab.Velocity : at);
                if (what != GrabEvent.None)
                    Console.WriteLine("{0} {1:F4} {2:F4} {3:F4}", what == GrabEvent.Grabbed ? "grabbed" : "letGo", shown.X, shown.Y, shown.Z);
                if ((int)grab.State != state)
                {
                    state = (int)grab.State;
                    Console.WriteLine(grab.State.ToString().ToLowerInvariant());
                }
                Thread.Sleep(5);
            }
            Console.WriteLine("allocating {0} of {1}", noisy, frames - 201);
        }
    }
}
