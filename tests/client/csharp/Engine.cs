// A stub of an engine: the few types that src/client/csharp/Samples~/Hand/GloveHand.cs uses, and a loop that runs it.
// Arguments: URL, FRAMES. Prints where the tip of the index finger and the ball are, and what became of the ball.
using System;
using System.Globalization;
using System.Threading;
using Tautline;

namespace Engine
{
    public struct Vector3
    {
        public float X, Y, Z;

        public Vector3(float x, float y, float z)
        {
            X = x;
            Y = y;
            Z = z;
        }
    }

    public struct Quaternion
    {
        public float X, Y, Z, W;

        public Quaternion(float x, float y, float z, float w)
        {
            X = x;
            Y = y;
            Z = z;
            W = w;
        }
    }

    public class Transform
    {
        public Vector3 LocalPosition;
        public Quaternion LocalRotation = new Quaternion(0, 0, 0, 1);
    }

    public class Component { }

    public static class Time
    {
        public static float Delta = 0.011f;
    }

    public static class Log
    {
        public static void Warning(string text)
        {
            Console.WriteLine("warning " + text);
        }
    }

    internal static class Program
    {
        private static void Main(string[] args)
        {
            CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
            GloveHand hand = new GloveHand { Url = args[0] };
            for (int i = 0; i < hand.Joints.Length; i++) hand.Joints[i] = new Transform();
            hand.Start();
            GrabState before = GrabState.Away;
            for (int frame = 0; frame < int.Parse(args[1]); frame++, Thread.Sleep(11))
            {
                hand.Update();
                Vector3 tip = hand.Joints[(int)Joint.IndexTip].LocalPosition, palm = hand.Joints[0].LocalPosition;
                if (frame == 100) hand.Ball = new Transform { LocalPosition = new Vector3(palm.X, palm.Y - 0.055f, palm.Z + 0.03f) };
                if (frame % 100 == 99) Console.WriteLine("tip {0:F4} {1:F4} {2:F4}", tip.X, tip.Y, tip.Z);
                if (hand.BallState != before) Console.WriteLine("ball " + (before = hand.BallState));
            }
            hand.OnDestroy();
        }
    }
}
