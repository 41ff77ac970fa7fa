// Answers each line of its input with a line of JSON; tests/end-to-end/client-vectors.test.ts asks and judges.
using System;
using System.Collections.Generic;
using System.Globalization;
using System.Text;
using Tautline;

internal static class Conformance
{
    private static readonly int[] Shown = { 0, 10, 25 };

    private static void Main()
    {
        CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
        Console.OutputEncoding = new UTF8Encoding(false);
        Console.InputEncoding = new UTF8Encoding(false);
        // One pose for all: what is left of the one before must not show.
        HandPose pose = new HandPose();
        for (string line = Console.ReadLine(); line != null; line = Console.ReadLine())
        {
            string[] words = line.Split(' ');
            if (words[0] == "record") Console.WriteLine(Record(pose, words.Length > 1 ? words[1] : ""));
            else if (words[0] == "axes") Console.WriteLine(Turned(words));
            else if (words[0] == "collider") Console.WriteLine(Collided(words));
            else if (words[0] == "grab") Console.WriteLine(Grabbed(words));
            else Console.WriteLine(Error(line.Substring(6)));
        }
    }

    private static string Record(HandPose pose, string hex)
    {
        byte[] bytes = new byte[hex.Length / 2 + 7];
        for (int i = 0; i < hex.Length / 2; i++) bytes[i + 3] = Convert.ToByte(hex.Substring(2 * i, 2), 16);
        if (!pose.TryRead(bytes, 3, hex.Length / 2)) return "null";
        StringBuilder states = new StringBuilder();
        for (int i = 0; i < 5; i++)
            states.Append(i == 0 ? "" : ",").Append("\"" + ((Finger)i).ToString().ToLowerInvariant() + "\":\"" + pose.FingerStates[i].ToString().ToLowerInvariant() + "\"");
        JsonWriter reason = new JsonWriter();
        if (pose.Reason != null) reason.Text(pose.Reason);
        else reason.Raw("null");
        return "{\"hand\":\"" + pose.Hand.ToString().ToLowerInvariant() + "\",\"seq\":" + pose.Seq + ",\"timeUs\":" + pose.TimeUs.ToString("R") +
            ",\"poseTimeUs\":" + pose.PoseTimeUs.ToString("R") + ",\"space\":\"" + (pose.InWorld ? "world" : "wrist") + "\",\"valid\":" +
            (pose.Valid ? "true" : "false") + ",\"recorded\":" + (pose.Recorded ? "true" : "false") + ",\"reason\":" + Encoding.UTF8.GetString(reason.Bytes, 0, reason.Count) + ",\"fingers\":{" + states +
            "},\"joints\":" + Rows(pose.Poses, 8) + ",\"velocities\":" + (pose.HasVelocities ? Rows(pose.Velocities, 6) : "null") +
            ",\"pressures\":" + (pose.HasPressures ? List(pose.Pressures, 0, 5) : "null") + "}";
    }

    private static string Rows(float[] values, int stride)
    {
        List<string> rows = new List<string>();
        foreach (int joint in Shown) rows.Add(List(values, joint * stride, stride));
        return "[" + string.Join(",", rows.ToArray()) + "]";
    }

    private static string List(float[] values, int from, int count)
    {
        List<string> texts = new List<string>();
        for (int i = from; i < from + count; i++) texts.Add(values[i].ToString("R"));
        return "[" + string.Join(",", texts.ToArray()) + "]";
    }

    private static float[] Numbers(string[] words, int from)
    {
        float[] numbers = new float[words.Length - from];
        for (int i = 0; i < numbers.Length; i++) numbers[i] = float.Parse(words[from + i]);
        return numbers;
    }

    private static Axes AxesOf(string[] words)
    {
        return new Axes(words[1], words[2], words[3], float.Parse(words[4]));
    }

    private static string Json(Vec3 v)
    {
        return List(new[] { v.X, v.Y, v.Z }, 0, 3);
    }

    private static string Json(Quat q)
    {
        return List(new[] { q.X, q.Y, q.Z, q.W }, 0, 4);
    }

    private static string Turned(string[] words)
    {
        Axes axes = AxesOf(words);
        float[] n = Numbers(words, 5);
        Vec3 position = axes.ToEngine(new Vec3(n[0], n[1], n[2]));
        Quat orientation = axes.ToEngine(new Quat(n[3], n[4], n[5], n[6]));
        return "{\"position\":" + Json(position) + ",\"orientation\":" + Json(orientation) + ",\"back\":[" +
            Json(axes.ToStream(position)) + "," + Json(axes.ToStream(orientation)) + "]}";
    }

    private static string Collided(string[] words)
    {
        Colliders colliders = new Colliders(AxesOf(words));
        float[] n = Numbers(words, 6);
        Placement at = new Placement(new Vec3(n[0], n[1], n[2]), new Quat(n[3], n[4], n[5], n[6]), new Vec3(n[7], n[8], n[9]));
        Vec3 centre = new Vec3(n[10], n[11], n[12]);
        PlacedShape placed;
        if (words[5] == "sphere") placed = colliders.Sphere(at, centre, n[13]);
        else if (words[5] == "box") placed = colliders.Box(at, centre, new Vec3(n[13], n[14], n[15]));
        else if (words[5] == "capsule") placed = colliders.Capsule(at, centre, n[13], n[14], (int)n[15]);
        else
        {
            List<Vec3> points = new List<Vec3>();
            for (int i = 13; i < n.Length; i += 3) points.Add(new Vec3(n[i], n[i + 1], n[i + 2]));
            placed = colliders.Convex(at, points);
        }
        return "{\"shape\":" + placed.Shape + ",\"position\":" + Json(placed.Position) + ",\"orientation\":" + Json(placed.Orientation) + "}";
    }

    private static GrabCore core;

    private static string Grabbed(string[] words)
    {
        float[] n = Numbers(words, 2);
        if (words[1] == "reach")
        {
            core = new GrabCore(n[0]);
            return "null";
        }
        HandPose hand = new HandPose { Valid = n[1] != 0, Seq = (uint)n[2], HasVelocities = n[6] != 0 };
        for (int joint = 0; joint < HandPose.Joints; joint++) Array.Copy(n, 14, hand.Poses, joint * 8, 7);
        Array.Copy(n, 21, hand.Poses, (int)Joint.IndexTip * 8, 3);
        Array.Copy(n, 24, hand.Velocities, 0, 6);
        if (n[5] != 0) core.Drop();
        GrabEvent what = core.Update(n[0], hand, n[3] != 0, (int)n[4], new Vec3(n[7], n[8], n[9]), new Quat(n[10], n[11], n[12], n[13]));
        string happened = what == GrabEvent.Grabbed ? "\"grabbed\"" : what == GrabEvent.LetGo ? "\"letGo\"" : "null";
        return "{\"state\":\"" + core.State.ToString().ToLowerInvariant() + "\",\"event\":" + happened + ",\"object\":" + Seven(core.Position, core.Orientation) +
            ",\"inPalm\":" + (core.State == GrabState.Held ? Seven(core.PositionInPalm, core.OrientationInPalm) : "null") +
            ",\"velocity\":" + Json(core.Velocity) + ",\"angularVelocity\":" + Json(core.AngularVelocity) + "}";
    }

    private static string Seven(Vec3 v, Quat q)
    {
        return List(new[] { v.X, v.Y, v.Z, q.X, q.Y, q.Z, q.W }, 0, 7);
    }

    private static string Error(string text)
    {
        JsonWriter json = new JsonWriter().Raw("null");
        using (TautlineClient client = new TautlineClient())
        {
            client.Failed += error =>
            {
                json.Clear().Raw("{\"code\":").Text(error.Code).Raw(",\"message\":").Text(error.Message).Raw(",\"path\":");
                if (error.Path == null) json.Raw("null}");
                else json.Text(error.Path).Raw("}");
            };
            byte[] bytes = Encoding.UTF8.GetBytes(text);
            new Incoming(client).Text(bytes, 0, bytes.Length);
        }
        return Encoding.UTF8.GetString(json.Bytes, 0, json.Count);
    }
}
