// As holder.cpp in tests/client/cpp, with the C# client.
using System;
using System.Collections.Concurrent;
using System.Collections.Generic;
using System.Globalization;
using System.Text;
using System.Threading;
using Tautline;

internal static class Holder
{
    private static void Main(string[] args)
    {
        CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
        Console.OutputEncoding = new UTF8Encoding(false);
        ConcurrentQueue<string> lines = new ConcurrentQueue<string>();
        Thread reader = new Thread(() =>
        {
            for (string line = Console.ReadLine(); line != null; line = Console.ReadLine()) lines.Enqueue(line);
        });
        reader.IsBackground = true;
        reader.Start();
        Dictionary<string, Hold> holds = new Dictionary<string, Hold>();
        Dictionary<string, string> said = new Dictionary<string, string>();
        using (TautlineClient client = new TautlineClient(new ClientOptions { Url = args[0], App = "holder" }))
        {
            for (; ; Thread.Sleep(2))
            {
                client.Poll();
                foreach (KeyValuePair<string, Hold> one in holds)
                {
                    string before, now = one.Key + " " + Seen(one.Value);
                    if (said.TryGetValue(one.Key, out before) && before == now) continue;
                    said[one.Key] = now;
                    Console.WriteLine(now);
                }
                string line;
                if (!lines.TryDequeue(out line)) continue;
                string[] words = line.Split(' ');
                if (words[0] == "end") return;
                Hold hold;
                holds.TryGetValue(words[1], out hold);
                if (words[0] == "stop") (holds[words[1]] = hold ?? client.Resist(HandSide.Right)).Stop(Finger.Index, float.Parse(words[2]), 1);
                if (words[0] == "touch")
                    holds[words[1]] = client.Hold(HandSide.Right, new PlacedShape(Shape.Sphere(0.03f), Vec3.Zero, Quat.Identity), new HoldOptions { Effort = 0 });
                if (words[0] == "free") hold.Release();
            }
        }
    }

    private static string Seen(Hold hold)
    {
        TautlineError why = hold.Error;
        JsonWriter json = new JsonWriter().Raw("{\"state\":").Text(hold.State.ToString().ToLowerInvariant());
        Member(json, ",\"code\":", why == null ? null : why.Code);
        Member(json, ",\"path\":", why == null ? null : why.Path);
        Member(json, ",\"message\":", why == null ? null : why.Message);
        Member(json, ",\"limited\":", hold.Limited);
        json.Raw("}");
        return Encoding.UTF8.GetString(json.Bytes, 0, json.Count);
    }

    private static void Member(JsonWriter json, string name, string value)
    {
        json.Raw(name);
        if (value == null) json.Raw("null");
        else json.Text(value);
    }
}
