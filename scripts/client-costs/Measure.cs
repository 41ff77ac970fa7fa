// As measure.mjs, with the C# client. Counts what its thread allocates.
using System;
using System.Diagnostics;
using System.Globalization;
using System.Threading;
using Tautline;

internal static class Measure
{
    private static string line;

    private static void Main(string[] args)
    {
        CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
        int rate = int.Parse(args[1]);
        Thread reader = new Thread(() =>
        {
            for (string one = ""; one != null; one = Console.ReadLine()) Volatile.Write(ref line, one);
        });
        reader.IsBackground = true;
        reader.Start();
        using (TautlineClient client = new TautlineClient(new ClientOptions { Url = args[0], App = "measured", RateHz = rate, Velocities = true }))
        {
            Grab grab = client.Grab(HandSide.Right, new PlacedShape(Shape.Sphere(0.035f), Vec3.Zero, Quat.Identity));
            Vec3 at = new Vec3(0, -0.056f, -0.086f);
            Quat turn = Quat.Identity;
            bool valid = false;
            long frames = 0, framesBefore = 0, posesBefore = 0, bytesBefore = 0;
            double cpuBefore = 0, nextMs = 0, beganMs = 0;
            float sum = 0;
            Process self = Process.GetCurrentProcess();
            Stopwatch clock = Stopwatch.StartNew();
            for (; ; )
            {
                frames++;
                client.Poll();
                grab.Update(ref at, ref turn);
                Glove right = client.Right;
                sum += right.Pose.Position(Joint.IndexTip).X;
                if (right.Pose.Valid != valid) Console.WriteLine((valid = !valid) ? "valid" : "lost");
                string told = Interlocked.Exchange(ref line, "");
                if (told == "end") return;
                if (told == "begin")
                {
                    self.Refresh();
                    framesBefore = frames;
                    posesBefore = right.PoseCount;
                    cpuBefore = self.TotalProcessorTime.TotalSeconds;
                    beganMs = clock.Elapsed.TotalMilliseconds;
                    bytesBefore = GC.GetAllocatedBytesForCurrentThread();
                }
                if (told == "report")
                {
                    long bytes = GC.GetAllocatedBytesForCurrentThread() - bytesBefore;
                    self.Refresh();
                    Console.WriteLine("{{\"cpuS\":{0:F4},\"wallS\":{1:F4},\"frames\":{2},\"poses\":{3},\"allocatedBytes\":{4}}}{5}",
                        self.TotalProcessorTime.TotalSeconds - cpuBefore, (clock.Elapsed.TotalMilliseconds - beganMs) / 1000,
                        frames - framesBefore, right.PoseCount - posesBefore, bytes, float.IsNaN(sum) ? " " : "");
                }
                nextMs += 1000.0 / rate;
                double waitMs = nextMs - clock.Elapsed.TotalMilliseconds;
                if (waitMs > 0) Thread.Sleep((int)Math.Round(waitMs));
            }
        }
    }
}
