using System;

namespace Tautline
{
    /// <summary>
    /// One thing that one hand can take; from TautlineClient.Grab. Call <see cref="Update"/> once a frame, after Poll. The
    /// thing is felt as soon as the hand comes near and the wearer has armed the glove, and it can be taken while the glove
    /// is disarmed, too, without force. It is let go when the fingers open, and when the hand or the connection is lost.
    /// </summary>
    public sealed class Grab : IDisposable
    {
        private const float Still = 1e-5f;
        private readonly TautlineClient client;
        private readonly PlacedShape local;
        private readonly HoldOptions how;
        private readonly float? effort;
        private readonly GrabCore core;
        private Hold hold;
        private PlacedShape sent;
        private Vec3 linear, angular, sentLinear, sentAngular;
        private bool moves;

        public readonly HandSide Hand;

        internal Grab(TautlineClient client, HandSide hand, PlacedShape shape, HoldOptions how)
        {
            this.client = client;
            Hand = hand;
            local = shape;
            effort = how == null ? null : how.Effort;
            this.how = new HoldOptions();
            if (how != null)
            {
                this.how.Stiffness = how.Stiffness;
                this.how.Friction = how.Friction;
            }
            Vec3 offset = shape.Position;
            core = new GrabCore((float)Math.Sqrt(offset.X * offset.X + offset.Y * offset.Y + offset.Z * offset.Z) + shape.Shape.Reach);
        }

        public GrabState State { get { return core.State; } }

        /// <summary>What it had when it was last let go, in the client's units a second; zero when the hand was lost.</summary>
        public Vec3 Velocity { get { return client.Axes.ToEngine(core.Velocity); } }

        /// <summary>rad/s, likewise.</summary>
        public Vec3 AngularVelocity { get { return client.Axes.AngularToEngine(core.AngularVelocity); } }

        /// <summary>What is sent: says whether it is felt, and why not. Null while the thing is out of reach.</summary>
        public Hold Hold { get { return hold; } }

        /// <summary>One frame.</summary>
        /// <param name="position">where the thing is, in the client's axes and the space of the hand's poses; written to while it is held</param>
        /// <param name="orientation">likewise</param>
        public GrabEvent Update(ref Vec3 position, ref Quat orientation)
        {
            Glove glove = client.Glove(Hand);
            GrabState before = core.State;
            bool carried = hold != null && hold.Carried;
            GrabEvent happened = core.Update(client.NowMs, glove.Pose, carried, hold == null ? 0 : hold.Fingers,
                client.Axes.ToStream(position), client.Axes.ToStream(orientation));
            if (before == GrabState.Held)
            {
                position = client.Axes.ToEngine(core.Position);
                orientation = client.Axes.ToEngine(core.Orientation);
            }
            Touch(glove);
            return happened;
        }

        /// <summary>
        /// How the thing moves while it is not held, units and rad a second, in the client's axes: felt where it is rather
        /// than where it was said to be last. For things that fly; to be called whenever that changes.
        /// </summary>
        public void SetVelocity(Vec3 velocity, Vec3 angularVelocity)
        {
            moves = true;
            linear = velocity;
            angular = angularVelocity;
        }

        /// <summary>Lets go for the app's own reasons; the hand has to open before it takes the thing again.</summary>
        public void Drop()
        {
            core.Drop();
        }

        /// <summary>The thing is gone.</summary>
        public void Dispose()
        {
            core.Drop();
            Release();
        }

        private void Release()
        {
            if (hold != null) hold.Release();
            hold = null;
        }

        private void Touch(Glove glove)
        {
            if (core.State == GrabState.Away || client.State == ConnectionState.Closed)
            {
                Release();
                return;
            }
            bool held = core.State == GrabState.Held;
            Vec3 at = held ? core.PositionInPalm : core.Position;
            Quat turn = (held ? core.OrientationInPalm : core.Orientation).Normalised();
            HoldSpace space = held ? HoldSpace.Palm : glove.Pose.InWorld ? HoldSpace.World : HoldSpace.Wrist;
            // Without force it is taken also while the glove is disarmed, for the contacts that it gives.
            float? now = glove.Armed ? effort : 0;
            PlacedShape placed = new PlacedShape(local.Shape, at + turn.Rotate(local.Position), turn * local.Orientation);
            // In the hand it rests.
            if (held) linear = angular = Vec3.Zero;
            bool same = hold != null && how.Space == space && how.Effort == now && Same(placed, sent) &&
                Small(linear + sentLinear * -1) && Small(angular + sentAngular * -1);
            if (same) return;
            how.Space = space;
            how.Effort = now;
            sent = placed;
            if (hold == null) hold = client.Hold(Hand, placed, how);
            else hold.Place(placed);
            if (moves) hold.SetVelocity(linear, angular);
            sentLinear = linear;
            sentAngular = angular;
        }

        private static bool Same(PlacedShape a, PlacedShape b)
        {
            Quat p = a.Orientation, q = b.Orientation;
            return Small(a.Position + b.Position * -1) && Small(new Vec3(p.X - q.X, p.Y - q.Y, p.Z - q.Z)) && Math.Abs(p.W - q.W) <= Still;
        }

        private static bool Small(Vec3 v)
        {
            return Math.Abs(v.X) <= Still && Math.Abs(v.Y) <= Still && Math.Abs(v.Z) <= Still;
        }
    }
}
