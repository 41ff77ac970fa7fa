using System;
using System.Net;
using System.Net.Sockets;
using System.Security.Cryptography;
using System.Text;
using System.Threading.Tasks;

namespace Tautline
{
    internal interface IMessages
    {
        void Text(byte[] bytes, int offset, int count);
        void Binary(byte[] bytes, int offset, int count);
    }

    /// <summary>
    /// A WebSocket client (RFC 6455) that never waits and has no thread: whoever owns it calls Pump, which sends and
    /// receives what can be at once. Buffers are kept. What a peer sends beyond the rules or the bounds ends the connection.
    /// </summary>
    internal sealed class WebSocket
    {
        private enum Stage { Closed, Resolving, Connecting, ShakingHands, Open }

        private const int Chunk = 32 * 1024, LargestMessage = 1 << 20, LargestHead = 16 * 1024, MostUnsent = 256 * 1024;
        private const string Subprotocol = "tautline.binary.v1";
        private readonly byte[] mask = new byte[4];
        private readonly SocketAddress address;
        private Stage stage;
        private Socket socket;
        private Task<IPAddress[]> lookUp;
        private string key;
        private byte[] input = new byte[2 * Chunk], output = new byte[4096], parts = new byte[0];
        private int filled, unsent, partsCount, partsOpcode;
        private uint random;

        public WebSocket(SocketAddress address)
        {
            this.address = address;
        }

        public bool IsOpen { get { return stage == Stage.Open; } }

        /// <summary>Why the connection ended: one line.</summary>
        public string Reason { get; private set; }

        /// <summary>Begins to connect; Pump goes on.</summary>
        public void Connect()
        {
            Close();
            Reason = null;
            byte[] bytes = new byte[20];
            using (RandomNumberGenerator generator = RandomNumberGenerator.Create()) generator.GetBytes(bytes);
            key = Convert.ToBase64String(bytes, 0, 16);
            random = BitConverter.ToUInt32(bytes, 16) | 1;
            if (address.Numeric != null)
            {
                Dial(address.Numeric);
                return;
            }
            stage = Stage.Resolving;
            lookUp = Dns.GetHostAddressesAsync(address.Host);
        }

        /// <summary>False: the connection has ended, and Reason says why.</summary>
        public bool Pump(IMessages messages)
        {
            if (stage == Stage.Resolving && lookUp.IsCompleted)
            {
                if (lookUp.Status != TaskStatus.RanToCompletion || lookUp.Result.Length == 0)
                    return End("There is no machine named " + address.Host + ".");
                Dial(lookUp.Result[0]);
            }
            if (stage == Stage.Resolving) return true;
            if (stage == Stage.Connecting)
            {
                // Windows says here that it failed, the others that it is done.
                if (socket.Poll(0, SelectMode.SelectError) || Failure() != 0)
                    return End("No service answers at " + address + ": the connection was refused.");
                if (!socket.Poll(0, SelectMode.SelectWrite)) return true;
                if (Failure() != 0) return End("No service answers at " + address + ": the connection was refused.");
                stage = Stage.ShakingHands;
            }
            if (stage == Stage.Closed) return false;
            if (!Flush()) return false;
            for (int turn = 0; turn < 16; turn++)
            {
                if (input.Length < filled + Chunk) Array.Resize(ref input, Math.Max(input.Length * 2, filled + Chunk));
                SocketError error;
                int count = socket.Receive(input, filled, Chunk, SocketFlags.None, out error);
                if (error == SocketError.WouldBlock) break;
                if (error != SocketError.Success || count <= 0) return End(Reason ?? "The connection ended.");
                filled += count;
                if (!Digest(messages)) return false;
                if (count < Chunk) break;
            }
            return Flush();
        }

        /// <summary>False: not open, or the service does not read.</summary>
        public bool Send(byte[] text, int count)
        {
            return stage == Stage.Open && Frame(1, text, 0, count);
        }

        /// <summary>Says goodbye, as far as that can be done without waiting.</summary>
        public void Close()
        {
            if (stage == Stage.Open) Frame(8, new byte[] { 0x03, 0xe8 }, 0, 2);
            End(null);
        }

        private bool End(string reason)
        {
            if (reason != null) Reason = reason;
            if (socket != null) socket.Close();
            socket = null;
            stage = Stage.Closed;
            filled = unsent = partsCount = partsOpcode = 0;
            return false;
        }

        private void Dial(IPAddress ip)
        {
            try
            {
                stage = Stage.Connecting;
                socket = new Socket(ip.AddressFamily, SocketType.Stream, ProtocolType.Tcp) { Blocking = false, NoDelay = true };
                Queue("GET " + address.Path + " HTTP/1.1\r\nHost: " + address.Authority + "\r\nUpgrade: websocket\r\n" +
                    "Connection: Upgrade\r\nSec-WebSocket-Key: " + key + "\r\nSec-WebSocket-Version: 13\r\n" +
                    "Sec-WebSocket-Protocol: " + Subprotocol + "\r\n" +
                    (address.Token == null ? "" : "Authorization: Bearer " + address.Token + "\r\n") + "\r\n");
                socket.Connect(new IPEndPoint(ip, address.Port));
            }
            catch (SocketException error)
            {
                if (error.SocketErrorCode != SocketError.WouldBlock && error.SocketErrorCode != SocketError.InProgress)
                    End("No service answers at " + address + ": " + error.Message);
            }
        }

        private int Failure()
        {
            return (int)socket.GetSocketOption(SocketOptionLevel.Socket, SocketOptionName.Error);
        }

        private void Queue(string ascii)
        {
            Room(ascii.Length);
            for (int i = 0; i < ascii.Length; i++) output[unsent++] = (byte)ascii[i];
        }

        private void Room(int more)
        {
            if (unsent + more > output.Length) Array.Resize(ref output, Math.Max(output.Length * 2, unsent + more));
        }

        private bool Flush()
        {
            while (unsent > 0)
            {
                SocketError error;
                int count = socket.Send(output, 0, unsent, SocketFlags.None, out error);
                if (error == SocketError.WouldBlock) break;
                if (error != SocketError.Success || count <= 0) return End(Reason ?? "The connection ended.");
                Buffer.BlockCopy(output, count, output, 0, unsent - count);
                unsent -= count;
            }
            return true;
        }

        private bool Frame(int opcode, byte[] payload, int offset, int count)
        {
            if (unsent + count > MostUnsent) return End("The service does not read what is sent.");
            Room(count + 14);
            output[unsent++] = (byte)(0x80 | opcode);
            if (count < 126) output[unsent++] = (byte)(0x80 | count);
            else if (count < 65536)
            {
                output[unsent++] = 0x80 | 126;
                output[unsent++] = (byte)(count >> 8);
                output[unsent++] = (byte)count;
            }
            else
            {
                output[unsent++] = 0x80 | 127;
                for (int shift = 56; shift >= 0; shift -= 8) output[unsent++] = (byte)((long)count >> shift);
            }
            // Marsaglia's xorshift: masks keep caches from mistaking frames for requests; they keep no secret.
            random ^= random << 13;
            random ^= random >> 17;
            random ^= random << 5;
            for (int i = 0; i < 4; i++) output[unsent++] = mask[i] = (byte)(random >> (8 * i));
            for (int i = 0; i < count; i++) output[unsent++] = (byte)(payload[offset + i] ^ mask[i & 3]);
            return Flush();
        }

        private bool Digest(IMessages messages)
        {
            int at = 0;
            if (stage == Stage.ShakingHands)
            {
                int blank = Find("\r\n\r\n");
                if (blank < 0) return filled < LargestHead || End("What answers at " + address + " is not the service.");
                if (!Agreed(Encoding.UTF8.GetString(input, 0, blank + 2), blank + 4)) return false;
                stage = Stage.Open;
                at = blank + 4;
            }
            while (stage == Stage.Open && filled - at >= 2)
            {
                int first = input[at], head = 2;
                long size = input[at + 1] & 127;
                // A service masks nothing, and no extension was agreed on.
                if ((input[at + 1] & 0x80) != 0 || (first & 0x70) != 0) return Broken();
                if (size >= 126)
                {
                    int more = size == 126 ? 2 : 8;
                    if (filled - at < head + more) break;
                    size = 0;
                    for (int i = 0; i < more; i++) size = size << 8 | input[at + head + i];
                    head += more;
                }
                if (size < 0 || size > LargestMessage) return Broken();
                if (filled - at - head < size) break;
                if (!Take(first, at + head, (int)size, messages)) return false;
                at += head + (int)size;
            }
            if (stage != Stage.Open) return false;
            Buffer.BlockCopy(input, at, input, 0, filled - at);
            filled -= at;
            return true;
        }

        private bool Take(int first, int at, int size, IMessages messages)
        {
            int opcode = first & 15;
            bool final = (first & 0x80) != 0;
            if (opcode >= 8)
            {
                if (!final || size > 125 || opcode > 10) return Broken();
                if (opcode == 9) return Frame(10, input, at, size);
                if (opcode == 10) return true;
                string why = size > 2 ? Encoding.UTF8.GetString(input, at + 2, size - 2) : "";
                return End("The service ended the connection" + (why == "" ? "." : ": " + why));
            }
            if (opcode > 2 || (opcode == 0) != (partsOpcode != 0)) return Broken();
            if (!final || opcode == 0)
            {
                if (opcode != 0) partsOpcode = opcode;
                if (partsCount + size > LargestMessage) return Broken();
                if (partsCount + size > parts.Length) Array.Resize(ref parts, Math.Max(parts.Length * 2, partsCount + size));
                Buffer.BlockCopy(input, at, parts, partsCount, size);
                partsCount += size;
                if (!final) return true;
                Hand(messages, partsOpcode, parts, 0, partsCount);
                partsOpcode = partsCount = 0;
            }
            else Hand(messages, opcode, input, at, size);
            return stage == Stage.Open;
        }

        private static void Hand(IMessages messages, int opcode, byte[] bytes, int at, int size)
        {
            if (opcode == 1) messages.Text(bytes, at, size);
            else messages.Binary(bytes, at, size);
        }

        private bool Broken()
        {
            return End("What came from " + address + " breaks the rules of a WebSocket.");
        }

        private bool Agreed(string head, int bodyFrom)
        {
            string[] lines = head.Split(new[] { "\r\n" }, StringSplitOptions.None);
            if (!lines[0].StartsWith("HTTP/1.1 101", StringComparison.Ordinal))
            {
                string body = Encoding.UTF8.GetString(input, bodyFrom, Math.Min(filled - bodyFrom, 300)).Trim();
                return End("The service refused: " + (body == "" ? lines[0] : body));
            }
            string accept;
            using (SHA1 sha = SHA1.Create())
                accept = Convert.ToBase64String(sha.ComputeHash(Encoding.ASCII.GetBytes(key + "258EAFA5-E914-47DA-95CA-C5AB0DC85B11")));
            if (Header(lines, "sec-websocket-accept") != accept || Header(lines, "sec-websocket-protocol") != Subprotocol)
                return End("What answers at " + address + " is not the service.");
            return true;
        }

        private static string Header(string[] lines, string name)
        {
            foreach (string line in lines)
                if (line.Length > name.Length && line[name.Length] == ':' &&
                    line.StartsWith(name, StringComparison.OrdinalIgnoreCase)) return line.Substring(name.Length + 1).Trim();
            return null;
        }

        private int Find(string ascii)
        {
            for (int at = 0; at + ascii.Length <= filled; at++)
            {
                int i = 0;
                while (i < ascii.Length && input[at + i] == ascii[i]) i++;
                if (i == ascii.Length) return at;
            }
            return -1;
        }
    }
}
