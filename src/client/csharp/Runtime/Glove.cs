using System;

namespace Tautline
{
    /// <summary>What is known of one hand. Filled in by TautlineClient.Poll, in place.</summary>
    public sealed class Glove
    {
        private const int Fingers = 5;
        private static readonly string[] Names = { "thumb", "index", "middle", "ring", "little" };
        public readonly HandSide Side;
        /// <summary>The newest pose. Look at PoseCount for whether there is a new one, and at Pose.Valid.</summary>
        public readonly HandPose Pose = new HandPose();
        /// <summary>Poses that have come.</summary>
        public long PoseCount { get; internal set; }
        /// <summary>The service has a glove for this hand.</summary>
        public bool Present { get; private set; }
        /// <summary>The wearer permits forces.</summary>
        public bool Armed { get; private set; }
        /// <summary>How the wearer arms, in words that complete "To arm: ...".</summary>
        public string HowToArm { get; private set; }
        /// <summary>Its name in the profile.</summary>
        public string Name { get; private set; }
        /// <summary>Thumb first, 0 open, 1 closed; as of the last report of resistance.</summary>
        public readonly float[] Curl = new float[Fingers];
        /// <summary>Thumb first: the curl at which the finger is held; NaN while it is free.</summary>
        public readonly float[] StopAt = new float[Fingers];
        /// <summary>Thumb first: part of the permitted force that is given, 0..1.</summary>
        public readonly float[] Effort = new float[Fingers];

        private string[] inputs = new string[16];
        private float[] values = new float[16];
        private int inputCount;

        internal Glove(HandSide side, Axes axes)
        {
            Side = side;
            Pose.Hand = side;
            Pose.Axes = axes;
            HowToArm = "connect the glove";
            Forget();
        }

        internal string Word { get { return Side == HandSide.Left ? "left" : "right"; } }

        /// <summary>The value of an input: "trigger/value", or OpenXR's whole path. False while it has not come.</summary>
        public bool TryInput(string path, out float value)
        {
            bool whole = path.Length > 0 && path[0] == '/';
            for (int i = 0; i < inputCount; i++)
            {
                string known = inputs[i];
                int more = known.Length - path.Length;
                bool same = whole ? more == 0 : more > 0 && known[more - 1] == '/' && known.LastIndexOf("/input/", StringComparison.Ordinal) + 7 == more;
                if (!same || string.CompareOrdinal(known, more, path, 0, path.Length) != 0) continue;
                value = values[i];
                return true;
            }
            value = 0;
            return false;
        }

        /// <summary>The connection is gone: nothing is held, and nobody is known to permit it.</summary>
        internal void Forget()
        {
            Armed = false;
            Present = false;
            Pose.Valid = false;
            Pose.Reason = "There is no connection to the service.";
            inputCount = 0;
            for (int finger = 0; finger < Fingers; finger++)
            {
                StopAt[finger] = float.NaN;
                Effort[finger] = 0;
            }
        }

        /// <summary>One of welcome's hands, whose object has begun; its member has been read up to the name.</summary>
        internal void TakeWelcome(JsonReader json)
        {
            Present = true;
            bool armed;
            while (json.NextMember())
            {
                if (json.Is("armed"))
                {
                    if (json.Boolean(out armed)) Armed = armed;
                }
                else if (json.Is("howToArm"))
                {
                    if (json.Text()) HowToArm = json.String(HowToArm);
                }
                else if (json.Is("name"))
                {
                    if (json.Text()) Name = json.String(Name);
                }
                else json.Skip();
            }
        }

        /// <summary>The rest of a `resistance` message.</summary>
        internal void TakeResistance(JsonReader json)
        {
            bool armed;
            while (json.NextMember())
            {
                if (json.Is("armed"))
                {
                    if (json.Boolean(out armed)) Armed = armed;
                }
                else if (json.Is("fingers") && json.Peek() == '{') TakeFingers(json);
                else json.Skip();
            }
        }

        private void TakeFingers(JsonReader json)
        {
            if (!json.BeginObject()) return;
            while (json.NextMember())
            {
                int finger = 0;
                while (finger < Fingers && !json.Is(Names[finger])) finger++;
                if (finger == Fingers || json.Peek() != '{')
                {
                    json.Skip();
                    continue;
                }
                StopAt[finger] = float.NaN;
                Effort[finger] = 0;
                json.BeginObject();
                double value;
                while (json.NextMember())
                {
                    float[] into = json.Is("curl") ? Curl : json.Is("stopAt") ? StopAt : json.Is("effort") ? Effort : null;
                    if (into == null) json.Skip();
                    else if (json.Number(out value)) into[finger] = (float)value;
                }
            }
        }

        /// <summary>The rest of an `inputs` message.</summary>
        internal void TakeInputs(JsonReader json)
        {
            while (json.NextMember())
            {
                if (json.Is("values") && json.Peek() == '{') TakeValues(json);
                else json.Skip();
            }
        }

        private void TakeValues(JsonReader json)
        {
            json.BeginObject();
            double value;
            while (json.NextMember())
            {
                int i = 0;
                while (i < inputCount && !json.Is(inputs[i])) i++;
                if (i == inputCount)
                {
                    // No device has so many; what a hostile service sends is bounded.
                    if (i == 256)
                    {
                        json.Skip();
                        continue;
                    }
                    if (i == inputs.Length)
                    {
                        Array.Resize(ref inputs, i * 2);
                        Array.Resize(ref values, i * 2);
                    }
                    // The name of before, where there was one: it is most likely the same.
                    inputs[i] = json.String(inputs[i]);
                    values[i] = 0;
                    inputCount++;
                }
                byte next = json.Peek();
                if (next == '"' || next == '{' || next == '[' || next == 'n') json.Skip();
                else if (json.NumberOrBoolean(out value)) values[i] = (float)value;
            }
        }

        internal static int FingerCount { get { return Fingers; } }

        internal static string FingerName(int finger) { return Names[finger]; }
    }
}
