using System;
using System.Text;

namespace Tautline
{
    /// <summary>
    /// Reads JSON text (RFC 8259) member by member, without a tree: nothing is allocated but the strings that are asked for,
    /// nothing is thrown. After the first mistake of the text every call answers false, so one look at Ok at the end does.
    /// </summary>
    internal sealed class JsonReader
    {
        private const int Deepest = 60;
        private byte[] bytes = new byte[0];
        private int at, end, depth;
        private ulong arrays;
        private bool first;
        private int textFrom, textTo;

        public bool Ok { get; private set; }

        public void Start(byte[] text, int offset, int count)
        {
            bytes = text;
            at = offset;
            end = offset + count;
            depth = 0;
            arrays = 0;
            first = false;
            Ok = true;
        }

        public bool BeginObject() { return Begin((byte)'{'); }

        public bool BeginArray() { return Begin((byte)'['); }

        /// <summary>The next member's name, for Is; then its value is to be read or skipped. False at the end.</summary>
        public bool NextMember()
        {
            if (!Next((byte)'}') || !Text()) return false;
            Space();
            return Take((byte)':') || Fail();
        }

        /// <summary>Whether there is another element, which is then to be read or skipped.</summary>
        public bool NextElement() { return Next((byte)']'); }

        /// <summary>Reads a string, for Is and String.</summary>
        public bool Text()
        {
            Space();
            if (!Take((byte)'"')) return Fail();
            textFrom = at;
            while (Ok && at < end)
            {
                byte c = bytes[at++];
                if (c == '"')
                {
                    textTo = at - 1;
                    return true;
                }
                if (c < 0x20) return Fail();
                if (c == '\\') at++;
            }
            textFrom = textTo = 0;
            return Fail();
        }

        /// <summary>Whether the string or name that was read last is this one, of ASCII letters.</summary>
        public bool Is(string word)
        {
            if (textTo - textFrom != word.Length) return false;
            for (int i = 0; i < word.Length; i++)
                if (bytes[textFrom + i] != word[i]) return false;
            return true;
        }

        /// <summary>The string that was read last. Allocates, unless it is still what it was.</summary>
        public string String(string before)
        {
            if (before != null && Is(before)) return before;
            StringBuilder text = new StringBuilder();
            for (int i = textFrom; i < textTo;)
            {
                int from = i;
                while (i < textTo && bytes[i] != '\\') i++;
                text.Append(Encoding.UTF8.GetString(bytes, from, i - from));
                if (i + 1 >= textTo) break;
                byte c = bytes[i + 1];
                i += 2;
                if (c == 'u' && i + 4 <= textTo)
                {
                    int code = 0;
                    for (int digit = 0; digit < 4; digit++) code = code << 4 | Hex(bytes[i++]);
                    text.Append((char)code);
                }
                else
                {
                    int place = "bfnrt".IndexOf((char)c);
                    text.Append(place < 0 ? (char)c : "\b\f\n\r\t"[place]);
                }
            }
            return text.ToString();
        }

        public bool Number(out double value)
        {
            value = 0;
            Space();
            bool negative = Take((byte)'-');
            int digits = at, scale = 0;
            for (; at < end && Digit(bytes[at]); at++) value = value * 10 + (bytes[at] - '0');
            if (at == digits) return Fail();
            if (Take((byte)'.'))
            {
                int from = at;
                // Digits beyond a double's change nothing.
                for (; at < end && Digit(bytes[at]); at++)
                    if (at - from < 25)
                    {
                        value = value * 10 + (bytes[at] - '0');
                        scale--;
                    }
                if (at == from) return Fail();
            }
            if (at < end && (bytes[at] | 0x20) == 'e')
            {
                at++;
                bool down = Take((byte)'-');
                if (!down) Take((byte)'+');
                int from = at, exponent = 0;
                for (; at < end && Digit(bytes[at]); at++)
                    if (exponent < 10000) exponent = exponent * 10 + (bytes[at] - '0');
                if (at == from) return Fail();
                scale += down ? -exponent : exponent;
            }
            value = scale < 0 && scale >= -22 ? value / Math.Pow(10, -scale) : scale == 0 ? value : value * Math.Pow(10, scale);
            if (negative) value = -value;
            return !(double.IsInfinity(value) || double.IsNaN(value)) || Fail();
        }

        public bool Boolean(out bool value)
        {
            Space();
            value = at < end && bytes[at] == 't';
            return Word(value ? "true" : "false");
        }

        /// <summary>A number, or true as 1 and false as 0.</summary>
        public bool NumberOrBoolean(out double value)
        {
            value = 0;
            byte next = Peek();
            if (next != 't' && next != 'f') return Number(out value);
            bool yes;
            if (!Boolean(out yes)) return false;
            value = yes ? 1 : 0;
            return true;
        }

        /// <summary>The first byte of what comes next, without taking it; 0 at the end.</summary>
        public byte Peek()
        {
            Space();
            return at < end ? bytes[at] : (byte)0;
        }

        /// <summary>Passes over one value. No recursion: the nesting of hostile text is not our stack's.</summary>
        public bool Skip()
        {
            int from = depth;
            do
            {
                double number;
                switch ((char)Peek())
                {
                    case '{': BeginObject(); break;
                    case '[': BeginArray(); break;
                    case '"': Text(); break;
                    case 't': Word("true"); break;
                    case 'f': Word("false"); break;
                    case 'n': Word("null"); break;
                    default: Number(out number); break;
                }
                while (Ok && depth > from)
                    if ((arrays >> (depth - 1) & 1) != 0 ? NextElement() : NextMember()) break;
            } while (Ok && depth > from);
            return Ok;
        }

        private static int Hex(byte c)
        {
            return c <= '9' ? c - '0' & 15 : (c | 0x20) - 'a' + 10 & 15;
        }

        private static bool Digit(byte c) { return c >= '0' && c <= '9'; }

        private bool Fail() { return Ok = false; }

        private bool Take(byte c)
        {
            if (at >= end || bytes[at] != c) return false;
            at++;
            return true;
        }

        private void Space()
        {
            while (at < end && (bytes[at] == ' ' || bytes[at] == '\n' || bytes[at] == '\r' || bytes[at] == '\t')) at++;
        }

        private bool Word(string word)
        {
            for (int i = 0; i < word.Length; i++)
                if (at >= end || bytes[at++] != word[i]) return Fail();
            return true;
        }

        private bool Begin(byte bracket)
        {
            Space();
            if (!Ok || depth == Deepest || !Take(bracket)) return Fail();
            ulong bit = 1UL << depth;
            arrays = bracket == '[' ? arrays | bit : arrays & ~bit;
            depth++;
            first = true;
            return true;
        }

        private bool Next(byte closing)
        {
            if (!Ok) return false;
            Space();
            if (Take(closing))
            {
                depth--;
                first = false;
                return false;
            }
            if (!first && !Take((byte)',')) return Fail();
            first = false;
            return at < end || Fail();
        }
    }
}
