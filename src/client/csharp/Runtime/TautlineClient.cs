using System;
using System.Diagnostics;

namespace Tautline
{
    /// <summary>
    /// The stream for a game loop. Call <see cref="Poll"/> once a frame: it never waits, and does everything else. It
    /// connects and reconnects, fills in <see cref="Left"/> and <see cref="Right"/>, and renews what is held. There is no
    /// thread: use it from one. After the first frames a Poll allocates nothing while poses come and things are held.
    /// </summary>
    public sealed class TautlineClient : IDisposable
    {
        private const int FirstWaitMs = 200, LongestWaitMs = 5000, WelcomeWithinMs = 10000, PingMs = 2000, SilentMs = 6000, Slots = 256;
        public readonly Glove Left, Right;
        public readonly Axes Axes;
        /// <summary>Turns collider data of the client's axes into shapes.</summary>
        public readonly Colliders Colliders;
        public ConnectionState State { get; private set; }
        /// <summary>Why it is not open; null while it is.</summary>
        public string Reason { get; private set; }
        /// <summary>Version of the service; null until it has said it.</summary>
        public string ServiceVersion { get; private set; }
        /// <summary>A request was refused, or something came that is no message. Called from within Poll.</summary>
        public event Action<TautlineError> Failed;

        private readonly ClientOptions options;
        private readonly SocketAddress address;
        private readonly WebSocket socket;
        private readonly Incoming incoming;
        private readonly JsonWriter request = new JsonWriter();
        private readonly Hold[] holds = new Hold[Slots];
        private readonly Stopwatch clock = Stopwatch.StartNew();
        private readonly Random random = new Random();
        private long nextMs, pingMs, heardMs, requests, layers;
        private int attempts;
        private string complaint;

        /// <exception cref="ArgumentException">an option cannot be; the message says which</exception>
        public TautlineClient(ClientOptions options = null)
        {
            this.options = options ?? new ClientOptions();
            Axes = this.options.Axes ?? Axes.OpenXR;
            address = SocketAddress.Of(this.options);
            if (this.options.App != null && (this.options.App == "" || this.options.App.Length > 40))
                throw new ArgumentException("The name of the app has 1 to 40 characters.");
            socket = new WebSocket(address);
            Left = new Glove(HandSide.Left, Axes);
            Right = new Glove(HandSide.Right, Axes);
            Colliders = new Colliders(Axes);
            incoming = new Incoming(this);
            State = ConnectionState.Waiting;
            Reason = "Poll has not been called.";
        }

        public Glove Glove(HandSide side)
        {
            return side == HandSide.Left ? Left : Right;
        }

        /// <summary>Does what there is to do, without waiting. To be called once a frame.</summary>
        public void Poll()
        {
            if (State == ConnectionState.Closed) return;
            long nowMs = clock.ElapsedMilliseconds;
            if (State == ConnectionState.Waiting && nowMs >= nextMs)
            {
                State = ConnectionState.Connecting;
                complaint = null;
                nextMs = nowMs + WelcomeWithinMs;
                socket.Connect();
            }
            if (State == ConnectionState.Connecting || State == ConnectionState.Open)
            {
                if (!socket.Pump(incoming)) Lose(complaint ?? socket.Reason ?? "The connection ended.", nowMs);
                else if (State == ConnectionState.Connecting && nowMs >= nextMs) Lose("No welcome came in time from " + address + ".", nowMs);
                else if (State == ConnectionState.Open) Ping(nowMs);
            }
            bool open = State == ConnectionState.Open;
            for (int slot = 1; slot < Slots; slot++)
                if (holds[slot] != null) holds[slot].Renew(nowMs, open, Glove(holds[slot].Hand).Armed);
        }

        /// <summary>Makes a shape felt, from the next Poll on and until it is released.</summary>
        /// <param name="hand">which</param>
        /// <param name="shape">from <see cref="Colliders"/>, or a <see cref="Shape"/> that is placed</param>
        /// <param name="how">null: hard, around the wrist</param>
        public Hold Hold(HandSide hand, PlacedShape shape, HoldOptions how = null)
        {
            if (shape.Shape == null) throw new ArgumentException("There is no shape.");
            return Add(new Hold(this, hand, Layer(), how ?? new HoldOptions())).Begin(shape, requests + 1);
        }

        /// <summary>Stops fingers at curls, once Stop has been called on what it returns.</summary>
        public Hold Resist(HandSide hand)
        {
            return Add(new Hold(this, hand, Layer(), null)).Begin(new PlacedShape(), requests + 1);
        }

        /// <summary>A thing that the hand can take.</summary>
        /// <param name="hand">which</param>
        /// <param name="shape">around the origin of the thing: from <see cref="Colliders"/> with a placement at zero that has
        /// the thing's scale, or a <see cref="Shape"/> that is placed</param>
        /// <param name="how">null: hard. Its space is not looked at</param>
        public Grab Grab(HandSide hand, PlacedShape shape, HoldOptions how = null)
        {
            if (shape.Shape == null) throw new ArgumentException("There is no shape.");
            return new Grab(this, hand, shape, how);
        }

        /// <summary>A short buzz or knock. False: not connected.</summary>
        public bool Pulse(HandSide hand, Finger finger, float amplitude, int durationMs, int frequencyHz = 150)
        {
            JsonWriter json = Request("pulse").Raw(",\"hand\":\"").Raw(Glove(hand).Word).Raw("\",\"finger\":\"");
            json.Raw(Tautline.Glove.FingerName((int)finger)).Raw("\",\"amplitude\":").Number(amplitude);
            json.Raw(",\"durationMs\":").Whole(durationMs).Raw(",\"frequencyHz\":").Whole(frequencyHz);
            return Send(0) != 0;
        }

        /// <summary>Says where the wrist is in the app's world, in the client's axes; every frame. False: not connected.</summary>
        public bool Tracker(HandSide hand, Vec3 position, Quat orientation)
        {
            JsonWriter json = Request("tracker").Raw(",\"hand\":\"").Raw(Glove(hand).Word).Raw("\",\"position\":");
            json.Vector(Axes.ToStream(position)).Raw(",\"orientation\":").Quaternion(Axes.ToStream(orientation));
            return Send(0) != 0;
        }

        /// <summary>Frees every finger now, and forbids forces until the wearer arms again. False: not connected.</summary>
        public bool Disarm()
        {
            Request("disarm");
            return Send(0) != 0;
        }

        /// <summary>Ends the connection. The service frees at once what this client held.</summary>
        public void Dispose()
        {
            if (State == ConnectionState.Closed) return;
            State = ConnectionState.Closed;
            Reason = "The client was closed.";
            socket.Close();
            Left.Forget();
            Right.Forget();
            Poll();
        }

        /// <summary>Begins a request. Its members follow, and Send.</summary>
        internal JsonWriter Request(string type)
        {
            return request.Clear().Raw("{\"type\":\"").Raw(type).Raw("\"");
        }

        /// <summary>Sends what was begun. The id carries the slot of the hold that asks. 0: it was not sent.</summary>
        internal long Send(int slot)
        {
            if (State != ConnectionState.Open) return 0;
            long id = ++requests;
            request.Raw(",\"id\":").Whole(id * Slots + slot).Raw("}");
            return socket.Send(request.Bytes, request.Count) ? id : 0;
        }

        internal double NowMs { get { return clock.Elapsed.TotalMilliseconds; } }

        /// <summary>What is not named in a report is not touched.</summary>
        internal void NothingTouched(HandSide hand)
        {
            for (int slot = 1; slot < Slots; slot++)
                if (holds[slot] != null && holds[slot].Hand == hand) holds[slot].Touched(0, false);
        }

        /// <summary>The hold of this hand whose layer the reader is at; null if there is none.</summary>
        internal Hold HoldOf(HandSide hand, JsonReader layer)
        {
            for (int slot = 1; slot < Slots; slot++)
                if (holds[slot] != null && holds[slot].Hand == hand && layer.Is(holds[slot].Layer)) return holds[slot];
            return null;
        }

        internal void Forget(Hold hold)
        {
            if (holds[hold.Slot] == hold) holds[hold.Slot] = null;
        }

        internal void Welcome(string version)
        {
            ServiceVersion = version;
            if (State != ConnectionState.Connecting) return;
            State = ConnectionState.Open;
            Reason = null;
            attempts = 0;
            heardMs = pingMs = clock.ElapsedMilliseconds;
            JsonWriter json = Request("subscribe").Raw(",\"streams\":[\"joints\",\"inputs\",\"resistance\",\"gestures\"]");
            if (options.App != null) json.Raw(",\"app\":").Text(options.App);
            if (options.RateHz > 0) json.Raw(",\"rateHz\":").Number(options.RateHz);
            if (options.Velocities) json.Raw(",\"velocities\":true");
            if (options.Surface) json.Raw(",\"surface\":true");
            if (options.PredictMs > 0) json.Raw(",\"predictMs\":").Number(options.PredictMs);
            Send(0);
        }

        internal void Heard() { heardMs = clock.ElapsedMilliseconds; }

        internal void Answer(long id, string limited)
        {
            Hold hold = id > 0 ? holds[id % Slots] : null;
            if (hold != null) hold.Answered(id / Slots, limited);
        }

        internal void Refuse(long id, TautlineError error)
        {
            Hold hold = id > 0 ? holds[id % Slots] : null;
            if (hold != null && !hold.Refused(id / Slots, error)) return;
            // The line that the service sends before it closes says more than its close.
            if (id <= 0) complaint = error.Message;
            Fail(error);
        }

        internal void Fail(TautlineError error)
        {
            Action<TautlineError> failed = Failed;
            if (failed != null) failed(error);
        }

        private Hold Add(Hold hold)
        {
            if (State == ConnectionState.Closed) throw new ObjectDisposedException("TautlineClient");
            int slot = 1;
            while (slot < Slots && holds[slot] != null) slot++;
            if (slot == Slots) throw new InvalidOperationException("No more than " + (Slots - 1) + " things are held at once; release some.");
            hold.Slot = slot;
            holds[slot] = hold;
            return hold;
        }

        private string Layer() { return "hold" + ++layers; }

        /// <summary>An answered ping every two seconds: a connection that is silent for longer is none, however open it looks.</summary>
        private void Ping(long nowMs)
        {
            if (nowMs - heardMs > SilentMs && pingMs > heardMs) Lose("Nothing comes from the service any more.", nowMs);
            else if (nowMs - pingMs >= PingMs)
            {
                pingMs = nowMs;
                Request("ping");
                Send(0);
            }
        }

        /// <summary>Doubling waits, each cut at random by up to a half so that apps do not all come back at once.</summary>
        private void Lose(string why, long nowMs)
        {
            socket.Close();
            int waitMs = Math.Min(FirstWaitMs << Math.Min(attempts++, 10), LongestWaitMs);
            nextMs = nowMs + (long)(waitMs * (0.5 + random.NextDouble() / 2));
            State = ConnectionState.Waiting;
            Reason = why;
            Left.Forget();
            Right.Forget();
            NothingTouched(HandSide.Left);
            NothingTouched(HandSide.Right);
        }
    }
}
