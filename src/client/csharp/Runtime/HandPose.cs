using System;
using System.Runtime.InteropServices;
using System.Text;

namespace Tautline
{
    public enum HandSide { Left = 0, Right = 1 }

    public enum Finger { Thumb, Index, Middle, Ring, Little }

    /// <summary>Tracked: sensed. Inferred: filled in. Invalid: not known.</summary>
    public enum FingerState { Invalid = 0, Inferred = 1, Tracked = 2 }

    /// <summary>The 26 joints in the order of the poses: OpenXR's.</summary>
    public enum Joint
    {
        Palm, Wrist,
        ThumbMetacarpal, ThumbProximal, ThumbDistal, ThumbTip,
        IndexMetacarpal, IndexProximal, IndexIntermediate, IndexDistal, IndexTip,
        MiddleMetacarpal, MiddleProximal, MiddleIntermediate, MiddleDistal, MiddleTip,
        RingMetacarpal, RingProximal, RingIntermediate, RingDistal, RingTip,
        LittleMetacarpal, LittleProximal, LittleIntermediate, LittleDistal, LittleTip,
    }

    /// <summary>
    /// One pose of one hand, filled in place by every record that comes. Positions and orientations are given in the axes
    /// of <see cref="Axes"/>; the arrays keep the numbers of the stream.
    /// </summary>
    public sealed class HandPose
    {
        public const int Joints = 26;
        private const int Fingers = 5, Head = 20, Stride = 8, VelocityStride = 6;

        public HandSide Hand;
        /// <summary>A gap is a pose that was dropped because this program was slow.</summary>
        public uint Seq;
        /// <summary>Of the sample, µs of the service's clock.</summary>
        public double TimeUs;
        /// <summary>What the pose is for: TimeUs, or later where it is predicted.</summary>
        public double PoseTimeUs;
        /// <summary>True: a tracker says where the hand is. False: the wrist is the origin.</summary>
        public bool InWorld;
        /// <summary>False while the glove is silent: the pose is then the last known.</summary>
        public bool Valid;
        /// <summary>A session is replayed: it is no hand of now.</summary>
        public bool Recorded;
        /// <summary>Why not valid; null while it is.</summary>
        public string Reason;
        public bool HasVelocities;
        public bool HasPressures;
        /// <summary>Thumb first.</summary>
        public readonly FingerState[] FingerStates = new FingerState[Fingers];
        /// <summary>26 × x, y, z, qx, qy, qz, qw, radius: metres, in OpenXR's axes.</summary>
        public readonly float[] Poses = new float[Joints * Stride];
        /// <summary>26 × vx, vy, vz, wx, wy, wz: m/s and rad/s, in OpenXR's axes.</summary>
        public readonly float[] Velocities = new float[Joints * VelocityStride];
        /// <summary>Thumb first, 0..1, if subscribed with Surface.</summary>
        public readonly float[] Pressures = new float[Fingers];
        /// <summary>Of what the methods give.</summary>
        public Axes Axes = Axes.OpenXR;

        private byte[] reasonBytes = new byte[0];

        public Vec3 Position(Joint joint)
        {
            int at = (int)joint * Stride;
            return Axes.ToEngine(new Vec3(Poses[at], Poses[at + 1], Poses[at + 2]));
        }

        public Quat Orientation(Joint joint)
        {
            int at = (int)joint * Stride + 3;
            return Axes.ToEngine(new Quat(Poses[at], Poses[at + 1], Poses[at + 2], Poses[at + 3]));
        }

        /// <summary>From the joint to the skin.</summary>
        public float Radius(Joint joint)
        {
            return Poses[(int)joint * Stride + 7] * Axes.UnitsPerMetre;
        }

        /// <summary>Zero unless velocities are subscribed.</summary>
        public Vec3 Velocity(Joint joint)
        {
            int at = (int)joint * VelocityStride;
            if (!HasVelocities) return Vec3.Zero;
            return Axes.ToEngine(new Vec3(Velocities[at], Velocities[at + 1], Velocities[at + 2]));
        }

        /// <summary>rad/s; zero unless velocities are subscribed.</summary>
        public Vec3 AngularVelocity(Joint joint)
        {
            int at = (int)joint * VelocityStride + 3;
            if (!HasVelocities) return Vec3.Zero;
            return Axes.AngularToEngine(new Vec3(Velocities[at], Velocities[at + 1], Velocities[at + 2]));
        }

        /// <summary>Which hand a record is of, without reading it. False if it is no record.</summary>
        public static bool TryHand(byte[] bytes, int offset, int count, out HandSide hand)
        {
            hand = count > 1 && bytes[offset + 1] == 0 ? HandSide.Left : HandSide.Right;
            return count >= Head && bytes[offset] == 1 && bytes[offset + 1] <= 1;
        }

        /// <summary>
        /// Reads a binary record (docs/protocol.md). Allocates nothing, but for a new reason. False, and nothing changed,
        /// for anything that is not a whole record of finite numbers.
        /// </summary>
        public bool TryRead(byte[] bytes, int offset, int count)
        {
            const int PoseBytes = Joints * Stride * 4, VelocityBytes = Joints * VelocityStride * 4;
            HandSide hand;
            if (bytes == null || offset < 0 || count > bytes.Length - offset) return false;
            if (!TryHand(bytes, offset, count, out hand) || bytes[offset + 3] != Joints) return false;
            int flags = bytes[offset + 2], states = U16(bytes, offset + 16), reason = U16(bytes, offset + 18);
            bool velocities = (flags & 2) != 0, pressures = (flags & 8) != 0;
            int end = Head + PoseBytes + (velocities ? VelocityBytes : 0) + (pressures ? Fingers * 4 : 0);
            if (count != end + reason) return false;
            // A float whose exponent is all ones is no number.
            for (int at = offset + Head; at < offset + end; at += 4)
                if ((bytes[at + 3] & 0x7f) == 0x7f && (bytes[at + 2] & 0x80) != 0) return false;
            double timeUs = F64(bytes, offset + 8);
            if (!(Math.Abs(timeUs) <= 1e17)) return false;

            Hand = hand;
            Valid = (flags & 1) != 0;
            InWorld = (flags & 4) != 0;
            Recorded = (flags & 16) != 0;
            HasVelocities = velocities;
            HasPressures = pressures;
            Seq = U32(bytes, offset + 4);
            TimeUs = timeUs;
            PoseTimeUs = timeUs + 1000.0 * (states >> 10);
            for (int finger = 0; finger < Fingers; finger++)
            {
                int state = states >> (2 * finger) & 3;
                FingerStates[finger] = state < 3 ? (FingerState)state : FingerState.Invalid;
            }
            int from = Floats(bytes, offset + Head, Poses);
            if (velocities) from = Floats(bytes, from, Velocities);
            if (pressures) from = Floats(bytes, from, Pressures);
            TakeReason(bytes, from, reason);
            return true;
        }

        private void TakeReason(byte[] bytes, int at, int count)
        {
            bool same = Reason != null && count == reasonBytes.Length;
            for (int i = 0; same && i < count; i++) same = bytes[at + i] == reasonBytes[i];
            if (count == 0) Reason = null;
            if (count == 0 || same) return;
            reasonBytes = new byte[count];
            Buffer.BlockCopy(bytes, at, reasonBytes, 0, count);
            Reason = Encoding.UTF8.GetString(reasonBytes);
        }

        private static int U16(byte[] b, int at)
        {
            return b[at] | b[at + 1] << 8;
        }

        private static uint U32(byte[] b, int at)
        {
            return (uint)(b[at] | b[at + 1] << 8 | b[at + 2] << 16 | b[at + 3] << 24);
        }

        private static double F64(byte[] b, int at)
        {
            return BitConverter.Int64BitsToDouble((long)U32(b, at) | (long)U32(b, at + 4) << 32);
        }

        // What .NET Framework lacks: BitConverter.Int32BitsToSingle.
        [StructLayout(LayoutKind.Explicit)]
        private struct Bits
        {
            [FieldOffset(0)] public uint Whole;
            [FieldOffset(0)] public float Number;
        }

        private static int Floats(byte[] b, int at, float[] into)
        {
            Bits bits = new Bits();
            for (int i = 0; i < into.Length; i++, at += 4)
            {
                bits.Whole = U32(b, at);
                into[i] = bits.Number;
            }
            return at;
        }
    }
}
