// Prints the index finger tip of each new pose, and with "hold" puts a ball into the hand once the wearer has armed.
//   mcs -out:tip.exe Runtime/*.cs Example/Tip.cs && mono tip.exe ws://127.0.0.1:7117/stream 100 [hold]
using System;
using System.Globalization;
using System.Threading;
using Tautline;

internal static class Tip
{
    private static int Main(string[] args)
    {
        CultureInfo.DefaultThreadCurrentCulture = CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
        string url = args.Length > 0 ? args[0] : "ws://127.0.0.1:7117/stream";
        long wanted = args.Length > 1 ? long.Parse(args[1]) : 0;
        bool holds = args.Length > 2 && args[2] == "hold";
        using (TautlineClient client = new TautlineClient(new ClientOptions { Url = url, App = "C# example" }))
        {
            client.Failed += error => Console.Error.WriteLine(error);
            Glove right = client.Right;
            Hold ball = null;
            HoldState before = HoldState.Asking;
            for (long seen = 0, printed = 0; wanted == 0 || printed < wanted; Thread.Sleep(1))
            {
                client.Poll();
                if (client.State == ConnectionState.Waiting && printed == 0 && wanted > 0)
                {
                    Console.Error.WriteLine("tip: " + client.Reason);
                    return 1;
                }
                if (holds && ball == null && right.Present)
                {
                    Console.Error.WriteLine("To arm: " + right.HowToArm + ".");
                    ball = client.Hold(HandSide.Right, new PlacedShape(Shape.Sphere(0.035f), new Vec3(0, -0.055f, -0.03f), Quat.Identity),
                        new HoldOptions { Space = HoldSpace.Palm, Stiffness = 800 });
                }
                if (ball != null && ball.State != before)
                {
                    before = ball.State;
                    Console.Error.WriteLine(ball.State + (ball.Error == null ? "" : ": " + ball.Error.Code));
                }
                if (right.PoseCount == seen) continue;
                seen = right.PoseCount;
                HandPose pose = right.Pose;
                Vec3 tip = pose.Position(Joint.IndexTip);
                Console.WriteLine("right {0} {1:F0} {2} {3:F4} {4:F4} {5:F4}", pose.Seq, pose.TimeUs, pose.Valid ? 1 : 0, tip.X, tip.Y, tip.Z);
                printed++;
            }
        }
        return 0;
    }
}
