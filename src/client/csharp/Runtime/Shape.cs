using System;
using System.Collections.Generic;

namespace Tautline
{
    /// <summary>
    /// What can be touched, as the stream says it: metres, OpenXR's axes. It never changes. For what an engine knows as a
    /// collider, see <see cref="Colliders"/>.
    /// </summary>
    public sealed class Shape
    {
        public const int MostPoints = 256, MostParts = 16, MostPointsOfCompound = 512;
        internal readonly JsonWriter Json = new JsonWriter();
        /// <summary>Radius of a sphere around the origin that encloses it, m.</summary>
        internal float Reach;
        private readonly int points;
        private readonly bool compound;

        private Shape(int points, bool compound)
        {
            this.points = points;
            this.compound = compound;
        }

        /// <summary>The shape as JSON text.</summary>
        public override string ToString()
        {
            return System.Text.Encoding.UTF8.GetString(Json.Bytes, 0, Json.Count);
        }

        public static Shape Sphere(float radius)
        {
            Shape shape = new Shape(0, false);
            shape.Json.Raw("{\"kind\":\"sphere\",\"radius\":").Number(Length(radius, "radius")).Raw("}");
            shape.Reach = radius;
            return shape;
        }

        /// <param name="size">full edge lengths</param>
        public static Shape Box(Vec3 size)
        {
            Shape shape = new Shape(0, false);
            for (int axis = 0; axis < 3; axis++) Length(size[axis], "size");
            shape.Json.Raw("{\"kind\":\"box\",\"size\":").Vector(size).Raw("}");
            shape.Reach = Norm(size) / 2;
            return shape;
        }

        /// <summary>Along its y axis.</summary>
        /// <param name="radius">of the caps</param>
        /// <param name="length">between the centres of the caps</param>
        public static Shape Capsule(float radius, float length)
        {
            return Round("capsule", radius, length);
        }

        /// <summary>Along its y axis.</summary>
        public static Shape Cylinder(float radius, float length)
        {
            return Round("cylinder", radius, length);
        }

        /// <summary>Everything below the plane y = 0 of its pose.</summary>
        public static Shape HalfSpace()
        {
            Shape shape = new Shape(0, false);
            shape.Json.Raw("{\"kind\":\"halfSpace\"}");
            shape.Reach = float.PositiveInfinity;
            return shape;
        }

        /// <summary>The convex hull of 4 to 256 points, which must enclose a volume.</summary>
        public static Shape Hull(IList<Vec3> points)
        {
            if (points == null || points.Count < 4 || points.Count > MostPoints)
                throw new ArgumentException("A hull has 4 to " + MostPoints + " points, not " +
                    (points == null ? 0 : points.Count) + ". Simplify the mesh, or split it into convex parts.");
            Shape shape = new Shape(points.Count, false);
            shape.Json.Raw("{\"kind\":\"hull\",\"points\":[");
            for (int i = 0; i < points.Count; i++)
            {
                shape.Json.Raw(i == 0 ? "" : ",").Vector(points[i]);
                shape.Reach = Math.Max(shape.Reach, Norm(points[i]));
            }
            shape.Json.Raw("]}");
            return shape;
        }

        /// <summary>1 to 16 convex parts, each where it is in the whole.</summary>
        public static Shape Compound(IList<PlacedShape> parts)
        {
            if (parts == null || parts.Count < 1 || parts.Count > MostParts)
                throw new ArgumentException("A compound has 1 to " + MostParts + " parts.");
            int points = 0;
            Shape shape = new Shape(0, true);
            shape.Json.Raw("{\"kind\":\"compound\",\"parts\":[");
            for (int i = 0; i < parts.Count; i++)
            {
                PlacedShape part = parts[i];
                if (part.Shape == null || part.Shape.compound)
                    throw new ArgumentException("A part of a compound is a convex shape.");
                points += part.Shape.points;
                shape.Reach = Math.Max(shape.Reach, Norm(part.Position) + part.Shape.Reach);
                shape.Json.Raw(i == 0 ? "" : ",").Raw("{\"shape\":").Raw(part.Shape.Json).Raw(",\"position\":");
                shape.Json.Vector(part.Position).Raw(",\"orientation\":").Quaternion(part.Orientation).Raw("}");
            }
            shape.Json.Raw("]}");
            if (points > MostPointsOfCompound)
                throw new ArgumentException("All hulls of a compound have " + MostPointsOfCompound + " points at most, not " + points + ".");
            return shape;
        }

        private static Shape Round(string kind, float radius, float length)
        {
            Shape shape = new Shape(0, false);
            shape.Json.Raw("{\"kind\":\"").Raw(kind).Raw("\",\"radius\":").Number(Length(radius, "radius"));
            shape.Json.Raw(",\"length\":").Number(Length(length, "length")).Raw("}");
            shape.Reach = kind == "capsule" ? radius + length / 2 : Norm(new Vec3(radius, length / 2, 0));
            return shape;
        }

        private static float Norm(Vec3 v)
        {
            return (float)Math.Sqrt(v.X * v.X + v.Y * v.Y + v.Z * v.Z);
        }

        private static float Length(float metres, string what)
        {
            if (!(metres > 0 && metres <= 10))
                throw new ArgumentException("The " + what + " must be above 0 and at most 10 metres, not " + metres + ".");
            return metres;
        }
    }

    /// <summary>A shape and where it is, in the stream's metres and axes.</summary>
    public struct PlacedShape
    {
        public Shape Shape;
        public Vec3 Position;
        public Quat Orientation;

        public PlacedShape(Shape shape, Vec3 position, Quat orientation)
        {
            Shape = shape;
            Position = position;
            Orientation = orientation;
        }
    }
}
