// Drives the C# client for the tests: `frames URL POSES` measures what a frame allocates; `loop URL` is a game loop that
// obeys lines of its input and prints what changes.
using System;
using System.Collections.Concurrent;
using System.Globalization;
using System.Threading;
using Tautline;

internal static class Driver
{
    private static int Main(string[] args)
    {
        CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
        using (TautlineClient client = new TautlineClient(new ClientOptions { Url = args[1], App = "driver", Velocities = true }))
        {
            client.Failed += error => Console.WriteLine("failed " + error);
            if (args[0] == "frames") return Frames(client, int.Parse(args[2]));
            Loop(client);
        }
        return 0;
    }

    private static int Frames(TautlineClient client, int poses)
    {
        Hold ball = client.Hold(HandSide.Right, new PlacedShape(Shape.Sphere(0.03f), Vec3.Zero, Quat.Identity), new HoldOptions { Space = HoldSpace.Palm });
        Glove right = client.Right;
        float sum = 0, way = 0, trigger;
        long bytes = 0, until = 0, inputs = 0;
        int collections = 0;
        // The first thousand warm up; then as many as were asked for are measured.
        while (true)
        {
            client.Poll();
            if (until == 0 && right.PoseCount > 1000 && ball.State == HoldState.Held)
            {
                GC.Collect();
                until = right.PoseCount + poses;
                collections = GC.CollectionCount(0);
                bytes = GC.GetAllocatedBytesForCurrentThread();
            }
            if (until > 0 && right.PoseCount >= until) break;
            sum += right.Pose.Position(Joint.IndexTip).X + right.Pose.Velocity(Joint.IndexTip).Y;
            if (right.TryInput("trigger/value", out trigger)) inputs++;
            way += 0.0001f;
            ball.Move(new Vec3(0, -0.05f, (float)Math.Sin(way) * 0.01f), Quat.Identity);
            Thread.Sleep(1);
        }
        bytes = GC.GetAllocatedBytesForCurrentThread() - bytes;
        collections = GC.CollectionCount(0) - collections;
        // That the counter counts.
        long before = GC.GetAllocatedBytesForCurrentThread();
        byte[] some = new byte[100000];
        long counted = GC.GetAllocatedBytesForCurrentThread() - before + some.Length % 2;
        Console.WriteLine("{0} {1} {2} {3} {4}", bytes, collections, ball.State, counted >= 100000, inputs > 0 && !float.IsNaN(sum));
        return 0;
    }

    private static void Loop(TautlineClient client)
    {
        ConcurrentQueue<string> lines = new ConcurrentQueue<string>();
        Thread reader = new Thread(() =>
        {
            for (string line = ""; line != null; line = Console.ReadLine()) lines.Enqueue(line);
            lines.Enqueue("end");
        });
        reader.IsBackground = true;
        reader.Start();
        string connection = "", held = "";
        Hold hold = null;
        for (; ; Thread.Sleep(2))
        {
            client.Poll();
            string now = (client.State + " " + (client.Reason ?? "")).Trim();
            if (now != connection) Console.WriteLine(connection = now);
            now = hold == null ? "" : ("hold " + hold.State + " " + (hold.Error == null ? "" : hold.Error.Code + " " + hold.Error.Path)).Trim();
            if (now != held) Console.WriteLine(held = now);
            string line;
            if (!lines.TryDequeue(out line) || line == "") continue;
            string[] words = line.Split(' ');
            if (words[0] == "end") return;
            if (words[0] == "stop") (hold = hold ?? client.Resist(HandSide.Right)).Stop(Finger.Index, float.Parse(words[1]), 1);
            if (words[0] == "ball")
                hold = client.Hold(HandSide.Right, new PlacedShape(Shape.Sphere(0.03f), Vec3.Zero, Quat.Identity),
                    new HoldOptions { Effort = float.Parse(words[1]) });
            if (words[0] == "free")
            {
                hold.Release();
                hold = null;
            }
            if (words[0] == "hang") Thread.Sleep(int.Parse(words[1]));
            if (words[0] == "pulse") client.Pulse(HandSide.Right, Finger.Index, float.Parse(words[1]), 5);
            if (words[0] == "disarm") client.Disarm();
            if (words[0] == "how") Console.WriteLine("To arm: " + client.Right.HowToArm);
        }
    }
}
