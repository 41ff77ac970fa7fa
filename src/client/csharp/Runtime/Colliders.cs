using System;
using System.Collections.Generic;

namespace Tautline
{
    /// <summary>Where an engine has an object: in its own axes and lengths, scaled first, then turned, then moved.</summary>
    public struct Placement
    {
        public Vec3 Position;
        public Quat Rotation;
        public Vec3 Scale;

        public Placement(Vec3 position, Quat rotation, Vec3 scale)
        {
            Position = position;
            Rotation = rotation;
            Scale = scale;
        }
    }

    /// <summary>
    /// Turns an engine's collider data into shapes. All lengths are the engine's, before scaling. Where a round collider is
    /// scaled unevenly it stays round, as is common practice in engines: a sphere takes the largest scale, a capsule the
    /// larger one across its axis.
    /// </summary>
    public sealed class Colliders
    {
        private readonly Axes axes;

        public Colliders(Axes axes)
        {
            this.axes = axes;
        }

        public PlacedShape Sphere(Placement at, Vec3 centre, float radius)
        {
            float scale = Math.Max(Math.Abs(at.Scale.X), Math.Max(Math.Abs(at.Scale.Y), Math.Abs(at.Scale.Z)));
            return Placed(Shape.Sphere(radius * scale / axes.UnitsPerMetre), at, centre, Quat.Identity);
        }

        /// <param name="at">the object's placement</param>
        /// <param name="centre">of the box in the object</param>
        /// <param name="size">full edge lengths</param>
        public PlacedShape Box(Placement at, Vec3 centre, Vec3 size)
        {
            return Placed(Shape.Box(axes.SizeToStream(size * at.Scale)), at, centre, Quat.Identity);
        }

        /// <param name="at">the object's placement</param>
        /// <param name="centre">of the capsule in the object</param>
        /// <param name="radius">of its caps</param>
        /// <param name="height">from end to end, caps included</param>
        /// <param name="along">0: along x, 1: y, 2: z of the object</param>
        public PlacedShape Capsule(Placement at, Vec3 centre, float radius, float height, int along)
        {
            if (along < 0 || along > 2) throw new ArgumentException("A capsule lies along 0 (x), 1 (y) or 2 (z), not " + along + ".");
            float across = Math.Max(Math.Abs(at.Scale[(along + 1) % 3]), Math.Abs(at.Scale[(along + 2) % 3]));
            float r = radius * across / axes.UnitsPerMetre;
            float length = height * Math.Abs(at.Scale[along]) / axes.UnitsPerMetre - 2 * r;
            // No longer than it is thick: a ball.
            if (!(length > 1e-5f)) return Placed(Shape.Sphere(r), at, centre, Quat.Identity);
            Vec3 direction = Vec3.Zero;
            direction[along] = axes.UnitsPerMetre;
            return Placed(Shape.Capsule(r, length), at, centre, FromY(axes.ToStream(direction)));
        }

        /// <summary>The vertices of a convex mesh.</summary>
        public PlacedShape Convex(Placement at, IList<Vec3> vertices)
        {
            return Placed(Shape.Hull(Scaled(at, vertices)), at, Vec3.Zero, Quat.Identity);
        }

        /// <summary>A mesh that has been split into convex pieces: the vertices of each.</summary>
        public PlacedShape ConvexParts(Placement at, IList<IList<Vec3>> pieces)
        {
            PlacedShape[] parts = new PlacedShape[pieces.Count];
            for (int i = 0; i < parts.Length; i++)
                parts[i] = new PlacedShape(Shape.Hull(Scaled(at, pieces[i])), Vec3.Zero, Quat.Identity);
            return Placed(Shape.Compound(parts), at, Vec3.Zero, Quat.Identity);
        }

        private Vec3[] Scaled(Placement at, IList<Vec3> vertices)
        {
            Vec3[] points = new Vec3[vertices.Count];
            for (int i = 0; i < points.Length; i++) points[i] = axes.ToStream(vertices[i] * at.Scale);
            return points;
        }

        private PlacedShape Placed(Shape shape, Placement at, Vec3 centre, Quat own)
        {
            Quat rotation = at.Rotation.Normalised();
            Vec3 position = at.Position + rotation.Rotate(centre * at.Scale);
            return new PlacedShape(shape, axes.ToStream(position), (axes.ToStream(rotation) * own).Normalised());
        }

        /// <summary>The turn that carries y along one of the axes; a capsule has no front and no end.</summary>
        private static Quat FromY(Vec3 axis)
        {
            const float Half = 0.70710678f;
            if (Math.Abs(axis.X) > 0.5f) return new Quat(0, 0, Half, Half);
            if (Math.Abs(axis.Z) > 0.5f) return new Quat(Half, 0, 0, Half);
            return Quat.Identity;
        }
    }
}
