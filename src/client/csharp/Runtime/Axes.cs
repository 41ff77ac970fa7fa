using System;

namespace Tautline
{
    /// <summary>
    /// How an engine names directions. The stream's axes are OpenXR's: right-handed, +X right, +Y up, -Z forward, metres.
    /// An engine's are given by three words: which direction of OpenXR its own x, y and z are.
    /// </summary>
    public sealed class Axes
    {
        /// <summary>As they come: right-handed, Y up, -Z forward, metres.</summary>
        public static readonly Axes OpenXR = new Axes("x", "y", "z", 1);

        /// <summary>Left-handed: X right, Y up, Z forward, metres.</summary>
        public static readonly Axes LeftHandedYUp = new Axes("x", "y", "-z", 1);

        /// <summary>Left-handed: X forward, Y right, Z up, centimetres.</summary>
        public static readonly Axes LeftHandedZUp = new Axes("-z", "x", "y", 100);

        /// <summary>Right-handed: X right, Y forward, Z up, metres.</summary>
        public static readonly Axes RightHandedZUp = new Axes("x", "-z", "y", 1);

        /// <summary>Lengths of the engine in a metre.</summary>
        public readonly float UnitsPerMetre;

        /// <summary>Whether rotations turn the other way about an axis than in OpenXR.</summary>
        public readonly bool LeftHanded;

        // Of each engine axis: which of OpenXR's it lies along, and its sign there.
        private readonly int[] from = new int[3];
        private readonly float[] sign = new float[3];

        /// <param name="x">"x", "-x", "y", "-y", "z" or "-z": the direction of OpenXR that the engine's x points in</param>
        /// <param name="y">the same of the engine's y</param>
        /// <param name="z">the same of the engine's z</param>
        /// <param name="unitsPerMetre">100 for an engine that counts in centimetres</param>
        public Axes(string x, string y, string z, float unitsPerMetre)
        {
            string[] words = { x, y, z };
            for (int axis = 0; axis < 3; axis++)
            {
                string word = words[axis] ?? "";
                sign[axis] = word.StartsWith("-", StringComparison.Ordinal) ? -1 : 1;
                from[axis] = word.Length == (sign[axis] < 0 ? 2 : 1) ? "xyz".IndexOf(word[word.Length - 1]) : -1;
                if (from[axis] < 0) throw new ArgumentException("An axis is x, y, z, -x, -y or -z, not \"" + word + "\".");
            }
            if (from[0] == from[1] || from[1] == from[2] || from[0] == from[2])
                throw new ArgumentException("Each of x, y and z must be named once.");
            if (!(unitsPerMetre > 0) || float.IsInfinity(unitsPerMetre))
                throw new ArgumentException("unitsPerMetre must be above 0.");
            UnitsPerMetre = unitsPerMetre;
            bool cyclic = (from[0] + 1) % 3 == from[1];
            LeftHanded = (cyclic ? 1 : -1) * sign[0] * sign[1] * sign[2] < 0;
        }

        /// <summary>A position or a velocity of the stream, in the engine.</summary>
        public Vec3 ToEngine(Vec3 v)
        {
            return Turned(v) * UnitsPerMetre;
        }

        /// <summary>A position or a velocity of the engine, in the stream.</summary>
        public Vec3 ToStream(Vec3 v)
        {
            return Back(v) * (1 / UnitsPerMetre);
        }

        /// <summary>A rotation of the stream, in the engine.</summary>
        public Quat ToEngine(Quat q)
        {
            // A mirrored axis of rotation, turned about the other way.
            Vec3 v = Turned(new Vec3(q.X, q.Y, q.Z)) * (LeftHanded ? -1 : 1);
            return new Quat(v.X, v.Y, v.Z, q.W);
        }

        /// <summary>A rotation of the engine, in the stream.</summary>
        public Quat ToStream(Quat q)
        {
            Vec3 v = Back(new Vec3(q.X, q.Y, q.Z)) * (LeftHanded ? -1 : 1);
            return new Quat(v.X, v.Y, v.Z, q.W);
        }

        /// <summary>An angular velocity of the stream, rad/s, in the engine.</summary>
        public Vec3 AngularToEngine(Vec3 v)
        {
            return Turned(v) * (LeftHanded ? -1 : 1);
        }

        /// <summary>An angular velocity of the engine, rad/s, in the stream.</summary>
        public Vec3 AngularToStream(Vec3 v)
        {
            return Back(v) * (LeftHanded ? -1 : 1);
        }

        /// <summary>Edge lengths of a box of the engine, in the stream.</summary>
        public Vec3 SizeToStream(Vec3 size)
        {
            Vec3 v = ToStream(size);
            return new Vec3(Math.Abs(v.X), Math.Abs(v.Y), Math.Abs(v.Z));
        }

        private Vec3 Turned(Vec3 v)
        {
            return new Vec3(v[from[0]] * sign[0], v[from[1]] * sign[1], v[from[2]] * sign[2]);
        }

        private Vec3 Back(Vec3 v)
        {
            Vec3 to = Vec3.Zero;
            to[from[0]] = v.X * sign[0];
            to[from[1]] = v.Y * sign[1];
            to[from[2]] = v.Z * sign[2];
            return to;
        }
    }
}
