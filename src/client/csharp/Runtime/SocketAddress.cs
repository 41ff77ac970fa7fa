using System;
using System.Net;

namespace Tautline
{
    /// <summary>Where a service is: ws://HOST:PORT/PATH, and the token it may want.</summary>
    internal sealed class SocketAddress
    {
        public readonly string Host, Path, Authority, Token;
        public readonly int Port;
        /// <summary>Null where a name has to be looked up.</summary>
        public readonly IPAddress Numeric;

        public SocketAddress(string url, string token)
        {
            Uri uri;
            if (!Uri.TryCreate(url, UriKind.Absolute, out uri) || uri.Scheme != "ws" || uri.Host == "")
                throw new ArgumentException("The address of the service is ws://HOST:PORT/stream, not \"" + url + "\".");
            foreach (char c in token ?? "")
                if (c <= ' ' || c > '~') throw new ArgumentException("A token has no spaces, and letters of ASCII alone.");
            Host = uri.Host.Trim('[', ']');
            Port = uri.Port > 0 ? uri.Port : 80;
            Path = uri.PathAndQuery == "/" ? "/stream" : uri.PathAndQuery;
            Token = string.IsNullOrEmpty(token) ? null : token;
            Authority = (Host.IndexOf(':') >= 0 ? "[" + Host + "]" : Host) + ":" + Port;
            // The service listens at 127.0.0.1; looking localhost up may give ::1 first.
            if (Host == "localhost") Numeric = IPAddress.Loopback;
            else IPAddress.TryParse(Host, out Numeric);
        }

        public static SocketAddress Of(ClientOptions options)
        {
            if (options.Url != null) return new SocketAddress(options.Url, options.Token);
            string url = Environment.GetEnvironmentVariable("TAUTLINE_STREAM");
            if (string.IsNullOrEmpty(url)) return new SocketAddress("ws://127.0.0.1:7117/stream", options.Token);
            return new SocketAddress(url, options.Token ?? Environment.GetEnvironmentVariable("TAUTLINE_TOKEN"));
        }

        /// <summary>Without the token.</summary>
        public override string ToString()
        {
            return "ws://" + Authority + Path.Split('?')[0];
        }
    }
}
