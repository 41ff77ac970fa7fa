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
        long bytes = 0, until = 1000, inputs = 0;
        int quiet = 0, windows = -1, collections = 0;
        // The first thousand poses warm up. Then come ten windows: a frame that allocates would show in every one of them,
        // a refusal that comes for the first time shows in one.
        while (windows < 10)
        {
            client.Poll();
            if (right.PoseCount >= until && ball.State == HoldState.Held)
            {
                if (windows < 0)
                {
                    GC.Collect();
                    collections = GC.CollectionCount(0);
                }
                else if (GC.GetAllocatedBytesForCurrentThread() == bytes) quiet++;
                windows++;
                until = right.PoseCount + poses / 10;
                bytes = GC.GetAllocatedBytesForCurrentThread();
            }
            sum += right.Pose.Position(Joint.IndexTip).X + right.Pose.Velocity(Joint.IndexTip).Y;
            if (right.TryInput("trigger/value", out trigger)) inputs++;
            way += 0.0001f;
            ball.Move(new Vec3(0, -0.05f, (float)Math.Sin(way) * 0.01f), Quat.Identity);
            Thread.Sleep(1);
        }
        collections = GC.CollectionCount(0) - collections;
        // That the counter counts.
        long before = GC.GetAllocatedBytesForCurrentThread();
        byte[] some = new byte[100000];
        long counted = GC.GetAllocatedBytesForCurrentThread() - before + some.Length % 2;
        Console.WriteLine("{0} {1} {2} {3}", quiet, collections, counted >= 100000, inputs > 0 && !float.IsNaN(sum));
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
