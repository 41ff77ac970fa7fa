using System;

namespace Tautline
{
    /// <summary>
    /// Asking: no answer yet. Held: in force. Paused: not in force, and resumed by itself when the reason is gone. Refused:
    /// the service will never accept it. Released: ended by the app.
    /// </summary>
    public enum HoldState { Asking, Held, Paused, Refused, Released }

    /// <summary>The frame of what is held: the wrist's, the palm's, or the world that a tracker places the hand in.</summary>
    public enum HoldSpace { Wrist, Palm, World }

    /// <summary>How it feels. What is null is the service's to choose.</summary>
    public sealed class HoldOptions
    {
        public HoldSpace Space = HoldSpace.Wrist;
        /// <summary>Part of the permitted maximum, 0..1. 0 asks for no force, and is taken while the glove is disarmed.</summary>
        public float? Effort;
        /// <summary>N/m at the surface; hard when null.</summary>
        public float? Stiffness;
        public float? Friction;
    }

    /// <summary>
    /// Something that the app wants felt until it releases it. It is renewed by TautlineClient.Poll and by nothing else: a
    /// program whose loop hangs holds no finger for longer than a quarter of a second.
    /// </summary>
    public sealed class Hold
    {
        internal const int TtlMs = 250, RenewMs = 60;
        private const int MoveMs = 8;
        public readonly HandSide Hand;
        public HoldState State { get; private set; }
        /// <summary>Why it is paused or refused; null otherwise.</summary>
        public TautlineError Error { get; private set; }
        /// <summary>Why the service grants less than was asked for; null when it grants it all.</summary>
        public string Limited { get; private set; }

        /// <summary>Of a touch: two fingers press against each other through it. Lifted, it would come along.</summary>
        public bool Carried { get; private set; }
        /// <summary>Of a touch: how many fingers are at its surface.</summary>
        public int Fingers { get; private set; }

        private static readonly TautlineError NotConnected = new TautlineError("notConnected", "There is no connection to the service.", null);
        private static readonly TautlineError Disarmed = new TautlineError("disarmed", "The glove is disarmed: no force until the wearer arms it.", null);
        // Refusals that end by themselves.
        private static readonly string[] Transient = { "disarmed", "tryAgain" };

        private readonly TautlineClient client;
        private readonly HoldOptions options;
        private readonly string layer;
        private readonly bool touches;
        private readonly float[] stopAt, effort;
        private PlacedShape placed;
        private Vec3 linear, angular;
        private bool moving, changed, onItsWay;
        private long sentMs = long.MinValue / 2, askedId, firstId, newestId, pausedId;

        internal int Slot;

        internal Hold(TautlineClient client, HandSide hand, string layer, HoldOptions options)
        {
            this.client = client;
            this.layer = layer;
            this.options = options ?? new HoldOptions();
            Hand = hand;
            touches = options != null;
            if (touches) return;
            stopAt = new float[Glove.FingerCount];
            effort = new float[Glove.FingerCount];
            for (int finger = 0; finger < stopAt.Length; finger++) stopAt[finger] = float.NaN;
        }

        internal Hold Begin(PlacedShape shape, long id)
        {
            placed = shape;
            firstId = id;
            return this;
        }

        internal string Layer { get { return layer; } }

        internal void Touched(int fingers, bool carried)
        {
            Fingers = fingers;
            Carried = carried;
        }

        /// <summary>Moves it; in the client's axes. Sent at the next Poll, every 8 ms at most.</summary>
        public void Move(Vec3 position, Quat orientation)
        {
            Place(new PlacedShape(placed.Shape, client.Axes.ToStream(position), client.Axes.ToStream(orientation)));
        }

        /// <summary>Moves or exchanges it: what <see cref="Colliders"/> gave.</summary>
        public void Place(PlacedShape shape)
        {
            if (!touches) throw new InvalidOperationException("Stops have no shape to move; use Stop and Free.");
            if (shape.Shape == null) throw new ArgumentException("There is no shape.");
            placed = shape;
            changed = true;
        }

        /// <summary>How it moves on until it is moved: units and rad a second, in the client's axes.</summary>
        public void SetVelocity(Vec3 velocity, Vec3 angularVelocity)
        {
            linear = client.Axes.ToStream(velocity);
            angular = client.Axes.AngularToStream(angularVelocity);
            moving = true;
            changed = true;
        }

        /// <summary>Stops a finger at a curl, 0 open to 1 closed, with a part of the permitted force.</summary>
        public void Stop(Finger finger, float curl, float part)
        {
            if (touches) throw new InvalidOperationException("A shape stops fingers where they touch it; use Move.");
            if (!(curl >= 0 && curl <= 1 && part >= 0 && part <= 1)) throw new ArgumentException("A stop and its effort are 0 to 1.");
            stopAt[(int)finger] = curl;
            effort[(int)finger] = part;
            changed = true;
        }

        /// <summary>Takes a finger's stop away.</summary>
        public void Free(Finger finger)
        {
            if (touches) throw new InvalidOperationException("A shape stops fingers where they touch it; use Release.");
            stopAt[(int)finger] = float.NaN;
            changed = true;
        }

        /// <summary>Ends it, and frees the fingers.</summary>
        public void Release()
        {
            if (State == HoldState.Released) return;
            bool gone = State == HoldState.Refused;
            State = HoldState.Released;
            Error = null;
            if (!gone) LetGo();
            client.Forget(this);
        }

        /// <summary>Called at every Poll.</summary>
        internal void Renew(long nowMs, bool connected, bool armed)
        {
            if (State == HoldState.Released || State == HoldState.Refused) return;
            if (!connected) Pause(NotConnected);
            else if (!armed && !(touches && options.Effort == 0)) Pause(Disarmed);
            else if (nowMs - sentMs >= (changed ? MoveMs : RenewMs) || askedId == 0) Ask(nowMs);
        }

        // Answers come in the order of the requests, however late; what was asked before a pause says nothing about now.
        internal void Answered(long id, string limited)
        {
            if (id <= pausedId || State == HoldState.Released || State == HoldState.Refused) return;
            Error = null;
            Limited = limited;
            State = HoldState.Held;
        }

        /// <returns>whether this is for the app to hear</returns>
        internal bool Refused(long id, TautlineError error)
        {
            if (id < firstId || State == HoldState.Released || State == HoldState.Refused) return false;
            if (Array.IndexOf(Transient, error.Code) >= 0)
            {
                if (id > pausedId) Pause(error);
                return false;
            }
            Error = error;
            State = HoldState.Refused;
            LetGo();
            client.Forget(this);
            return true;
        }

        private void Pause(TautlineError why)
        {
            Error = why;
            // Asked counts as held: the request may be on its way.
            if (State != HoldState.Paused && onItsWay) LetGo();
            State = HoldState.Paused;
            pausedId = newestId;
            // Asked again at once when the reason is gone; where only the service knows, at the next renewal.
            askedId = why == NotConnected || why == Disarmed ? 0 : -1;
        }

        private void LetGo()
        {
            onItsWay = false;
            JsonWriter json = client.Request("release");
            json.Raw(",\"hand\":\"").Raw(Hand == HandSide.Left ? "left" : "right").Raw("\",\"layer\":\"").Raw(layer).Raw("\"");
            client.Send(0);
        }

        private void Ask(long nowMs)
        {
            sentMs = nowMs;
            changed = false;
            JsonWriter json = client.Request(touches ? "touch" : "resist");
            json.Raw(",\"hand\":\"").Raw(Hand == HandSide.Left ? "left" : "right").Raw("\",\"layer\":\"").Raw(layer);
            json.Raw("\",\"ttlMs\":").Whole(TtlMs);
            if (touches) WriteTouch(json);
            else WriteStops(json);
            askedId = client.Send(Slot);
            if (askedId != 0) newestId = askedId;
            onItsWay |= askedId != 0;
        }

        private void WriteTouch(JsonWriter json)
        {
            json.Raw(",\"shape\":").Raw(placed.Shape.Json).Raw(",\"position\":").Vector(placed.Position);
            json.Raw(",\"orientation\":").Quaternion(placed.Orientation);
            if (options.Space == HoldSpace.Palm) json.Raw(",\"space\":\"palm\"");
            else if (options.Space == HoldSpace.World) json.Raw(",\"space\":\"world\"");
            if (options.Effort.HasValue) json.Raw(",\"effort\":").Number(options.Effort.Value);
            if (options.Stiffness.HasValue) json.Raw(",\"stiffness\":").Number(options.Stiffness.Value);
            if (options.Friction.HasValue) json.Raw(",\"friction\":").Number(options.Friction.Value);
            if (!moving) return;
            json.Raw(",\"linearVelocity\":").Vector(linear).Raw(",\"angularVelocity\":").Vector(angular);
        }

        private void WriteStops(JsonWriter json)
        {
            json.Raw(",\"fingers\":{");
            bool any = false;
            for (int finger = 0; finger < stopAt.Length; finger++)
            {
                if (float.IsNaN(stopAt[finger])) continue;
                json.Raw(any ? ",\"" : "\"").Raw(Glove.FingerName(finger)).Raw("\":{\"stopAt\":").Number(stopAt[finger]);
                json.Raw(",\"effort\":").Number(effort[finger]).Raw("}");
                any = true;
            }
            json.Raw("}");
        }
    }
}
