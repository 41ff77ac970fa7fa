namespace Tautline
{
    /// <summary>How to connect. What is left alone is what most apps want.</summary>
    public sealed class ClientOptions
    {
        /// <summary>Where the service is; null: what the variable TAUTLINE_STREAM says (with its token in TAUTLINE_TOKEN),
        /// or the usual place, ws://127.0.0.1:7117/stream.</summary>
        public string Url;
        /// <summary>Needed when the service is open to other machines.</summary>
        public string Token;
        /// <summary>Name of the app, for people; at most 40 characters.</summary>
        public string App;
        /// <summary>Of everything that is given and taken.</summary>
        public Axes Axes = Axes.OpenXR;
        /// <summary>Poses and inputs a second at most; 0: every sample.</summary>
        public float RateHz;
        public bool Velocities;
        /// <summary>Show fingers that touch resting on the surface, and give pressures.</summary>
        public bool Surface;
        /// <summary>How far the service predicts ahead, ms, 0..50.</summary>
        public float PredictMs;
    }

    /// <summary>Connecting, then Open from the service's welcome on; Waiting is the pause before the next attempt.</summary>
    public enum ConnectionState { Connecting, Open, Waiting, Closed }

    /// <summary>A refused request or a failed connection: a code for the program and one line for people.</summary>
    public sealed class TautlineError
    {
        /// <summary>The service's code, or one of the client's: notConnected, connectionLost, badAnswer.</summary>
        public readonly string Code;
        public readonly string Message;
        /// <summary>JSON pointer to what is wrong in the request; null if the service named nothing.</summary>
        public readonly string Path;

        public TautlineError(string code, string message, string path)
        {
            Code = code;
            Message = message;
            Path = path;
        }

        public override string ToString()
        {
            return Code + ": " + Message + (Path == null ? "" : " (" + Path + ")");
        }
    }
}
