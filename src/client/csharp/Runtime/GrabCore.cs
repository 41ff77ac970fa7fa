using System;

namespace Tautline
{
    /// <summary>Away: out of reach. Near: it is touched. Held: it follows the palm.</summary>
    public enum GrabState { Away, Near, Held }

    public enum GrabEvent { None, Grabbed, LetGo }

    /// <summary>
    /// When a thing is grabbed, held and let go, and where it is meanwhile; the clients in other languages do the same, by
    /// the same test vectors. The rule itself: no connection, no clock, and everything in the stream's metres and axes.
    /// </summary>
    internal sealed class GrabCore
    {
        /// <summary>The thing is touched from when a joint is this near to its bounding sphere, until every joint is that far, m.</summary>
        public const float Near = 0.1f, Away = 0.15f;
        /// <summary>How long a thing stays held that is not carried, while two fingers or more are still at it.</summary>
        public const double SlipsAfterMs = 100;
        /// <summary>A hand that gives no new pose for so long is lost.</summary>
        public const double LostAfterMs = 250;

        private const int Stride = 8;
        /// <summary>Radius of a sphere around the thing's origin that encloses it, m.</summary>
        private readonly float reach;
        public GrabState State;
        /// <summary>Where the thing is: as it was given, or with the hand.</summary>
        public Vec3 Position;
        public Quat Orientation = Quat.Identity;
        /// <summary>While held: where it is in the palm's frame.</summary>
        public Vec3 PositionInPalm;
        public Quat OrientationInPalm = Quat.Identity;
        /// <summary>What it had when it was last let go, m/s and rad/s; zeros where the hand was lost or velocities are not known.</summary>
        public Vec3 Velocity, AngularVelocity;

        private long seq = -1;
        private double seenMs, slipsMs = double.NaN;
        private bool mustOpen;

        public GrabCore(float reach)
        {
            this.reach = reach;
        }

        /// <summary>One frame.</summary>
        /// <param name="nowMs">on any clock that does not go back</param>
        /// <param name="hand">the newest pose</param>
        /// <param name="carried">what the service says of the touch</param>
        /// <param name="fingers">how many are at its surface</param>
        /// <param name="position">where the app has the thing, if it is not held</param>
        /// <param name="orientation">likewise</param>
        public GrabEvent Update(double nowMs, HandPose hand, bool carried, int fingers, Vec3 position, Quat orientation)
        {
            if (hand.Seq != seq)
            {
                seq = hand.Seq;
                seenMs = nowMs;
            }
            if (!hand.Valid || nowMs - seenMs > LostAfterMs) return Lose(position, orientation);
            if (!carried) mustOpen = false;
            float[] p = hand.Poses;
            Vec3 palm = new Vec3(p[0], p[1], p[2]);
            Quat turn = new Quat(p[3], p[4], p[5], p[6]).Normalised();
            if (State == GrabState.Held) return Follow(nowMs, palm, turn, hand, carried, fingers);
            Position = position;
            Orientation = orientation;
            State = Distance(p) < (State == GrabState.Near ? Away : Near) ? GrabState.Near : GrabState.Away;
            if (State == GrabState.Away || !carried || mustOpen) return GrabEvent.None;
            Quat back = new Quat(-turn.X, -turn.Y, -turn.Z, turn.W);
            PositionInPalm = back.Rotate(Position + palm * -1);
            OrientationInPalm = back * Orientation;
            State = GrabState.Held;
            slipsMs = double.NaN;
            return GrabEvent.Grabbed;
        }

        /// <summary>Lets go for the app's own reasons: the hand has to open before it grabs again.</summary>
        public void Drop()
        {
            if (State == GrabState.Held) State = GrabState.Near;
            mustOpen = true;
            Velocity = AngularVelocity = Vec3.Zero;
        }

        private GrabEvent Lose(Vec3 position, Quat orientation)
        {
            bool held = State == GrabState.Held;
            // What is dropped stays where it was last.
            if (!held)
            {
                Position = position;
                Orientation = orientation;
            }
            State = GrabState.Away;
            Velocity = AngularVelocity = Vec3.Zero;
            return held ? GrabEvent.LetGo : GrabEvent.None;
        }

        private GrabEvent Follow(double nowMs, Vec3 palm, Quat turn, HandPose hand, bool carried, int fingers)
        {
            Position = palm + turn.Rotate(PositionInPalm);
            Orientation = turn * OrientationInPalm;
            if (carried)
            {
                slipsMs = double.NaN;
                return GrabEvent.None;
            }
            if (double.IsNaN(slipsMs)) slipsMs = nowMs;
            // One finger holds nothing. Two that have just lost their opposition may find it again.
            if (fingers >= 2 && nowMs - slipsMs < SlipsAfterMs) return GrabEvent.None;
            State = GrabState.Near;
            Velocity = AngularVelocity = Vec3.Zero;
            if (!hand.HasVelocities) return GrabEvent.LetGo;
            float[] v = hand.Velocities;
            Vec3 w = new Vec3(v[3], v[4], v[5]), r = Position + palm * -1;
            // As a part of the palm: v + w x r.
            Velocity = new Vec3(v[0] + w.Y * r.Z - w.Z * r.Y, v[1] + w.Z * r.X - w.X * r.Z, v[2] + w.X * r.Y - w.Y * r.X);
            AngularVelocity = w;
            return GrabEvent.LetGo;
        }

        /// <summary>From the nearest joint to the sphere around the thing; negative inside.</summary>
        private float Distance(float[] poses)
        {
            double least = double.PositiveInfinity;
            for (int at = 0; at < HandPose.Joints * Stride; at += Stride)
            {
                double x = poses[at] - Position.X, y = poses[at + 1] - Position.Y, z = poses[at + 2] - Position.Z;
                least = Math.Min(least, x * x + y * y + z * z);
            }
            return (float)Math.Sqrt(least) - reach;
        }
    }
}
