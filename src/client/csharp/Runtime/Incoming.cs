namespace Tautline
{
    /// <summary>Reads what the service sends into the client.</summary>
    internal sealed class Incoming : IMessages
    {
        private readonly TautlineClient client;
        private readonly JsonReader json = new JsonReader();
        private readonly string[] texts = new string[64];
        private readonly TautlineError[] errors = new TautlineError[16];
        private string version, id;
        private int newestText, newestError;

        public Incoming(TautlineClient client)
        {
            this.client = client;
        }

        public void Binary(byte[] bytes, int offset, int count)
        {
            client.Heard();
            HandSide hand;
            Glove glove = HandPose.TryHand(bytes, offset, count, out hand) ? client.Glove(hand) : null;
            if (glove != null && glove.Pose.TryRead(bytes, offset, count)) glove.PoseCount++;
            else Bad("a record of " + count + " bytes that is no pose");
        }

        public void Text(byte[] bytes, int offset, int count)
        {
            client.Heard();
            json.Start(bytes, offset, count);
            // The type stands first where the service wrote it; wherever it stands, it is looked for first.
            bool found = false;
            if (json.BeginObject())
                while (!found && json.NextMember())
                {
                    found = json.Is("type");
                    if (!found) json.Skip();
                }
            string type = found && json.Text() ? Known() : null;
            if (!json.Ok || !found)
            {
                Bad("text that is no message");
                return;
            }
            if (type == null) return;
            json.Start(bytes, offset, count);
            json.BeginObject();
            if (type == "welcome") Welcome();
            else if (type == "ack" || type == "error") Answer(type == "error");
            else OfHand(type, bytes, offset, count);
            if (!json.Ok) Bad("a damaged message of type " + type);
        }

        /// <summary>Types that this client does not use, or does not know yet, are passed over.</summary>
        private string Known()
        {
            return json.Is("resistance") ? "resistance" : json.Is("gestures") ? "gestures" : json.Is("ack") ? "ack" : json.Is("inputs") ? "inputs" :
                json.Is("error") ? "error" : json.Is("welcome") ? "welcome" : null;
        }

        private void Welcome()
        {
            while (json.NextMember())
            {
                if (json.Is("hands") && json.Peek() == '[') Hands();
                else if (json.Is("server") && json.Peek() == '{') Server();
                else if (json.Is("app") && json.Peek() == '"') id = json.Text() ? json.String(id) : null;
                else json.Skip();
            }
            if (json.Ok) client.Welcome(version);
        }

        private void Server()
        {
            json.BeginObject();
            while (json.NextMember())
            {
                if (json.Is("version") && json.Peek() == '"') version = json.Text() ? json.String(version) : null;
                else json.Skip();
            }
        }

        private void Hands()
        {
            json.BeginArray();
            while (json.NextElement())
            {
                if (json.Peek() != '{')
                {
                    json.Skip();
                    continue;
                }
                // The service writes the hand first; a welcome that does not is passed over.
                json.BeginObject();
                if (!json.NextMember()) continue;
                bool named = json.Is("hand") && json.Text();
                if (named && json.Is("left")) client.Left.TakeWelcome(json);
                else if (named && json.Is("right")) client.Right.TakeWelcome(json);
                else if (json.Ok)
                {
                    if (!named) json.Skip();
                    while (json.NextMember()) json.Skip();
                }
            }
        }

        private void OfHand(string type, byte[] bytes, int offset, int count)
        {
            Glove glove = null;
            while (glove == null && json.NextMember())
            {
                if (!json.Is("hand")) json.Skip();
                else if (!json.Text()) return;
                else glove = json.Is("left") ? client.Left : client.Right;
            }
            if (glove == null) return;
            json.Start(bytes, offset, count);
            json.BeginObject();
            if (type == "gestures") Touches(glove.Side);
            else if (type == "inputs") glove.TakeInputs(json);
            else glove.TakeResistance(json);
        }

        private void Touches(HandSide hand)
        {
            client.NothingTouched(hand);
            while (json.NextMember())
            {
                if (!json.Is("touches") || json.Peek() != '[')
                {
                    json.Skip();
                    continue;
                }
                json.BeginArray();
                while (json.NextElement())
                {
                    if (json.Peek() == '{') OneTouch(hand);
                    else json.Skip();
                }
            }
        }

        private void OneTouch(HandSide hand)
        {
            Hold hold = null;
            bool mine = false, carried = false;
            int fingers = 0;
            json.BeginObject();
            while (json.NextMember())
            {
                byte next = json.Peek();
                if (next == '"' && json.Is("by")) mine = json.Text() && id != null && json.Is(id);
                else if (next == '"' && json.Is("layer")) hold = json.Text() ? client.HoldOf(hand, json) : null;
                else if ((next == 't' || next == 'f') && json.Is("carried")) json.Boolean(out carried);
                else if (next == '[' && json.Is("fingers"))
                {
                    json.BeginArray();
                    for (; json.NextElement(); fingers++) json.Skip();
                }
                else json.Skip();
            }
            if (mine && hold != null && json.Ok) hold.Touched(fingers, carried);
        }

        private void Answer(bool refused)
        {
            double id = 0;
            string code = null, message = null, path = null, limits = null;
            while (json.NextMember())
            {
                bool text = json.Peek() == '"';
                if (json.Is("id") && !text) json.Number(out id);
                else if (!text) json.Skip();
                else if (json.Is("limited")) limits = Text();
                else if (refused && json.Is("code")) code = Text();
                else if (refused && json.Is("message")) message = Text();
                else if (refused && json.Is("path")) path = Text();
                else json.Skip();
            }
            if (!json.Ok) return;
            long number = id > 0 && id < 9e15 ? (long)id : 0;
            if (refused) client.Refuse(number, Error(code ?? "internal", message ?? "The service refused.", path));
            else client.Answer(number, limits);
        }

        /// <summary>Reads a text. One that came not long ago is the same object: a refusal that is repeated is no garbage.</summary>
        private string Text()
        {
            if (!json.Text()) return null;
            foreach (string known in texts)
                if (known != null && json.Is(known)) return known;
            newestText = (newestText + 1) % texts.Length;
            return texts[newestText] = json.String(null);
        }

        private TautlineError Error(string code, string message, string path)
        {
            foreach (TautlineError known in errors)
                if (known != null && known.Code == code && known.Message == message && known.Path == path) return known;
            newestError = (newestError + 1) % errors.Length;
            return errors[newestError] = new TautlineError(code, message, path);
        }

        private void Bad(string what)
        {
            client.Fail(new TautlineError("badAnswer", "The service sent " + what + ".", null));
        }
    }
}
