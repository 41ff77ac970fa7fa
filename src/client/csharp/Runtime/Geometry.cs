using System;

namespace Tautline
{
    /// <summary>Three numbers: a position, a direction, a scale.</summary>
    public struct Vec3
    {
        public float X, Y, Z;

        public Vec3(float x, float y, float z)
        {
            X = x;
            Y = y;
            Z = z;
        }

        public static readonly Vec3 Zero = new Vec3(0, 0, 0);
        public static readonly Vec3 One = new Vec3(1, 1, 1);

        public float this[int axis]
        {
            get { return axis == 0 ? X : axis == 1 ? Y : Z; }
            set
            {
                if (axis == 0) X = value;
                else if (axis == 1) Y = value;
                else Z = value;
            }
        }

        public static Vec3 operator +(Vec3 a, Vec3 b)
        {
            return new Vec3(a.X + b.X, a.Y + b.Y, a.Z + b.Z);
        }

        /// <summary>Axis by axis.</summary>
        public static Vec3 operator *(Vec3 a, Vec3 b)
        {
            return new Vec3(a.X * b.X, a.Y * b.Y, a.Z * b.Z);
        }

        public static Vec3 operator *(Vec3 a, float by)
        {
            return new Vec3(a.X * by, a.Y * by, a.Z * by);
        }

        public override string ToString()
        {
            return string.Format(System.Globalization.CultureInfo.InvariantCulture, "({0:F4}, {1:F4}, {2:F4})", X, Y, Z);
        }
    }

    /// <summary>A unit quaternion x, y, z, w.</summary>
    public struct Quat
    {
        public float X, Y, Z, W;

        public Quat(float x, float y, float z, float w)
        {
            X = x;
            Y = y;
            Z = z;
            W = w;
        }

        public static readonly Quat Identity = new Quat(0, 0, 0, 1);

        /// <summary>First b, then a.</summary>
        public static Quat operator *(Quat a, Quat b)
        {
            return new Quat(
                a.W * b.X + a.X * b.W + a.Y * b.Z - a.Z * b.Y,
                a.W * b.Y - a.X * b.Z + a.Y * b.W + a.Z * b.X,
                a.W * b.Z + a.X * b.Y - a.Y * b.X + a.Z * b.W,
                a.W * b.W - a.X * b.X - a.Y * b.Y - a.Z * b.Z);
        }

        public Vec3 Rotate(Vec3 v)
        {
            float tx = 2 * (Y * v.Z - Z * v.Y), ty = 2 * (Z * v.X - X * v.Z), tz = 2 * (X * v.Y - Y * v.X);
            return new Vec3(
                v.X + W * tx + Y * tz - Z * ty,
                v.Y + W * ty + Z * tx - X * tz,
                v.Z + W * tz + X * ty - Y * tx);
        }

        /// <summary>Of length 1; the identity if it has no length.</summary>
        public Quat Normalised()
        {
            double length = Math.Sqrt((double)X * X + (double)Y * Y + (double)Z * Z + (double)W * W);
            if (!(length > 1e-6) || double.IsInfinity(length)) return Identity;
            return new Quat((float)(X / length), (float)(Y / length), (float)(Z / length), (float)(W / length));
        }
    }
}
