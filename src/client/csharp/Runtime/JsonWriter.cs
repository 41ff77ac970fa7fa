using System;
using System.Globalization;
using System.Text;

namespace Tautline
{
    /// <summary>Writes JSON text into a buffer that is kept, so that after the first messages nothing is allocated.</summary>
    internal sealed class JsonWriter
    {
        public byte[] Bytes = new byte[1024];
        public int Count;

        public JsonWriter Clear()
        {
            Count = 0;
            return this;
        }

        /// <summary>ASCII, as it stands.</summary>
        public JsonWriter Raw(string text)
        {
            Room(text.Length);
            for (int i = 0; i < text.Length; i++) Bytes[Count++] = (byte)text[i];
            return this;
        }

        public JsonWriter Raw(JsonWriter other)
        {
            Room(other.Count);
            Buffer.BlockCopy(other.Bytes, 0, Bytes, Count, other.Count);
            Count += other.Count;
            return this;
        }

        /// <summary>A string, with its quotation marks.</summary>
        public JsonWriter Text(string text)
        {
            Raw("\"");
            foreach (byte c in Encoding.UTF8.GetBytes(text))
            {
                if (c < 0x20)
                {
                    Raw("\\u00").Raw(c.ToString("x2", CultureInfo.InvariantCulture));
                    continue;
                }
                Room(2);
                if (c == '"' || c == '\\') Bytes[Count++] = (byte)'\\';
                Bytes[Count++] = c;
            }
            return Raw("\"");
        }

        public JsonWriter Whole(long value)
        {
            Room(20);
            if (value < 0) Bytes[Count++] = (byte)'-';
            return Digits(value < 0 ? 0UL - (ulong)value : (ulong)value, 1);
        }

        /// <summary>To a ten-millionth: a tenth of a micrometre.</summary>
        public JsonWriter Number(double value)
        {
            const double Part = 1e7;
            if (double.IsNaN(value) || double.IsInfinity(value)) throw new ArgumentException("A number is not finite.");
            if (Math.Abs(value) >= 1e11) return Raw(value.ToString("R", CultureInfo.InvariantCulture));
            ulong whole = (ulong)Math.Round(Math.Abs(value) * Part);
            Room(24);
            if (value < 0 && whole > 0) Bytes[Count++] = (byte)'-';
            Digits(whole / (ulong)Part, 1);
            ulong rest = whole % (ulong)Part;
            if (rest == 0) return this;
            Bytes[Count++] = (byte)'.';
            Digits(rest, 7);
            while (Bytes[Count - 1] == '0') Count--;
            return this;
        }

        public JsonWriter Vector(Vec3 v)
        {
            return Raw("[").Number(v.X).Raw(",").Number(v.Y).Raw(",").Number(v.Z).Raw("]");
        }

        public JsonWriter Quaternion(Quat q)
        {
            q = q.Normalised();
            Raw("[").Number(q.X).Raw(",").Number(q.Y).Raw(",");
            return Number(q.Z).Raw(",").Number(q.W).Raw("]");
        }

        private JsonWriter Digits(ulong value, int least)
        {
            int digits = 1;
            for (ulong v = value; v >= 10; v /= 10) digits++;
            if (digits < least) digits = least;
            for (int i = digits - 1; i >= 0; i--, value /= 10) Bytes[Count + i] = (byte)('0' + value % 10);
            Count += digits;
            return this;
        }

        private void Room(int more)
        {
            if (Count + more > Bytes.Length) Array.Resize(ref Bytes, Math.Max(Bytes.Length * 2, Count + more));
        }
    }
}
