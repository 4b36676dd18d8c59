"""Does what we send arrive as meant, seen by other programs than ours?

Mail goes to aiosmtpd, in the clear on loopback, by STARTTLS and by TLS, and is read by Python's email package; a text
goes to an HTTP server that checks the signature with Python's hmac; a push is opened with http-ece and its token
verified with cryptography. Prints a table; ends with 1 on the first thing that is wrong.

    cargo build --example send_letter
    VENV/bin/python tests/outside/notify/check.py
"""
import base64
import datetime
import email
import email.policy
import hashlib
import hmac
import http.server
import ipaddress
import json
import logging
import os
import pathlib
import ssl
import subprocess
import sys
import tempfile
import threading
import warnings

import http_ece
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.x509.oid import NameOID

ROOT = pathlib.Path(__file__).resolve().parents[3]
BUILT = pathlib.Path(os.environ.get("CLOSEWATCH_BIN_DIR", ROOT / "target" / "debug" / "examples"))
HOST = "127.0.0.1"
NOW = "2026-03-02T20:00:00Z"
NOW_S = 1772481600
SUBJECT = "1 mensaje nuevo · señal"
BODY = "Léalo: https://wounds.example/p/7Gm2QxV9\n.\n..dos puntos\n¿Preguntas? Llame al (202) 555-0142."
FROM = "Harbor Street Practice <notices@practice.example>"
SECRET = "a secret shared with one provider only"
PASSWORD = "correct horse, battery & ñ"

# The servers' own remarks on clients that break off are no findings.
logging.getLogger("mail.log").setLevel(logging.CRITICAL)
warnings.filterwarnings("ignore", module="aiosmtpd")

faults = 0


def say(name, good, detail=""):
    global faults
    faults += not good
    print(f"  {'ok   ' if good else 'WRONG'} {name}{'  ' + detail if detail and not good else ''}")


def send(channel, to, *flags):
    clean = {key: value for key, value in os.environ.items() if not key.startswith("CLOSEWATCH_")}
    command = [BUILT / "send_letter", "--now", NOW, "--language", "es", *flags, channel, to, SUBJECT, BODY]
    ran = subprocess.run([str(part) for part in command], capture_output=True, text=True, timeout=60, env=clean)
    if ran.returncode:
        return {"became": "not started", "why": ran.stderr.strip()}
    return json.loads(ran.stdout)


# --- certificates ------------------------------------------------------------------------------------------------


def certificate(folder, name, issuer=None):
    """A new authority, or a certificate for this machine issued by one; the file of either."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.datetime.now(datetime.timezone.utc)
    parent, parent_key = issuer or (None, key)
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(parent.subject if parent else subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=2))
        .add_extension(x509.BasicConstraints(ca=parent is None, path_length=None), critical=True)
    )
    if parent:
        here = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(HOST))])
        builder = builder.add_extension(here, critical=False)
    signed = builder.sign(parent_key, hashes.SHA256())
    path = folder / f"{name}.pem"
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    path.write_bytes(signed.public_bytes(serialization.Encoding.PEM))
    (folder / f"{name}.key").write_bytes(private)
    return signed, key, path


# --- mail --------------------------------------------------------------------------------------------------------


class Mailbox:
    def __init__(self):
        self.kept = []

    async def handle_RCPT(self, server, session, envelope, address, options):
        if address.startswith("gone@"):
            return f"550 5.1.1 <{address}> unknown"
        if address.startswith("full@"):
            return "452 4.2.2 mailbox full"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        self.kept.append((session.ssl is not None, session.authenticated, envelope))
        return "250 taken"


def sign_in(server, session, envelope, mechanism, data):
    good = (data.login, data.password) == (b"office", PASSWORD.encode())
    return AuthResult(success=good, handled=False)


class Server(Controller):
    """A mail server on a free port."""

    def __init__(self, handler, wrapped=None, **settings):
        self.smtp_settings = settings
        super().__init__(handler, hostname=HOST, port=0, ssl_context=wrapped)

    def factory(self):
        return SMTP(self.handler, hostname="mail.example", **self.smtp_settings)

    def _trigger_server(self):
        # The port is known once the server listens.
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


def mail_flags(scheme, port, *more):
    return ["--notify-hosts", HOST, "--smtp-url", f"{scheme}://{HOST}:{port}", "--mail-from", FROM, *more]


def check_mail(folder):
    print("mail, to aiosmtpd")
    authority, authority_key, authority_file = certificate(folder, "authority")
    _, _, file = certificate(folder, "server", (authority, authority_key))
    _, _, stranger = certificate(folder, "stranger")
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(file, folder / "server.key")
    password, wrong = folder / "password", folder / "wrong"
    password.write_text(PASSWORD + "\n")
    wrong.write_text("another password\n")
    login = ["--smtp-user", "office", "--smtp-password-file"]
    closed = {"tls_context": context, "require_starttls": True, "auth_required": True, "authenticator": sign_in}

    box = Mailbox()
    plain = Server(box)
    plain.start()
    try:
        said = send("email", "rosa@patient.example", *mail_flags("smtp+plain", plain.port))
        say("in the clear, on this machine", said["became"] == "taken" and len(box.kept) == 1, str(said))
        check_message(box.kept[0][2])
        gone = send("email", "gone@patient.example", *mail_flags("smtp+plain", plain.port))
        say("a mailbox that is not there: never", gone["became"] == "never" and "gone@" not in gone["why"], str(gone))
        full = send("email", "full@patient.example", *mail_flags("smtp+plain", plain.port))
        say("a full mailbox: later", full["became"] == "later", str(full))
        no_tls = send("email", "rosa@patient.example", *mail_flags("smtp", plain.port))
        say("no STARTTLS on offer: later, and nothing sent", no_tls["became"] == "later" and len(box.kept) == 1)
        other = mail_flags("smtp+plain", plain.port)
        other[1] = "mail.example"
        said = send("email", "rosa@patient.example", *other)
        say("a host on no list: does not start", said["became"] == "not started", str(said))
    finally:
        plain.stop()

    for scheme, name, server in [
        ("smtp", "STARTTLS", lambda box: Server(box, **closed)),
        ("smtps", "TLS", lambda box: Server(box, wrapped=context, auth_required=True, authenticator=sign_in,
                                            auth_require_tls=False)),
    ]:
        box = Mailbox()
        running = server(box)
        running.start()
        try:
            trusted = ["--smtp-ca-file", authority_file]
            flags = mail_flags(scheme, running.port, *trusted, *login, password)
            said = send("email", "rosa@patient.example", *flags)
            # aiosmtpd notes encryption in the session only where it began by STARTTLS.
            good = said["became"] == "taken" and len(box.kept) == 1 and box.kept[0][:2] == (name == "STARTTLS", True)
            say(f"{name}, signed in", good, str(said))
            said = send("email", "rosa@patient.example", *mail_flags(scheme, running.port, *trusted, *login, wrong))
            say(f"{name}, wrong password: later", said["became"] == "later" and "sign-in" in said["why"], str(said))
            for more, what in [([], "a stranger's certificate"), (["--smtp-ca-file", stranger], "another authority's")]:
                said = send("email", "rosa@patient.example", *mail_flags(scheme, running.port, *more, *login, password))
                say(f"{name}, {what}: later", said["became"] == "later" and "certificate" in said["why"], str(said))
            say(f"{name}: nothing else arrived", len(box.kept) == 1)
        finally:
            running.stop()


def check_message(envelope):
    message = email.message_from_bytes(envelope.content, policy=email.policy.default)
    say("from and to", envelope.mail_from == "notices@practice.example" and envelope.rcpt_tos == ["rosa@patient.example"])
    say("subject", message["Subject"] == SUBJECT, repr(message["Subject"]))
    body = message.get_content().replace("\r\n", "\n").rstrip("\n")
    say("text, lines of dots and all", body == BODY, repr(body))
    say("plain text in UTF-8", message.get_content_type() == "text/plain" and message.get_content_charset() == "utf-8")
    say("sender's name", str(message["From"]) == FROM, str(message["From"]))
    say("date", message["Date"].datetime.timestamp() == NOW_S, str(message["Date"]))
    say("its own id", message["Message-ID"] == "<letter-1@practice.example>", message["Message-ID"])
    say("no defects", not message.defects and all(not value.defects for value in message.values()))


# --- texts and push ----------------------------------------------------------------------------------------------


class Provider(http.server.BaseHTTPRequestHandler):
    heard = []

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        Provider.heard.append((self.path, self.headers, body))
        answer = b'{"id": "m-1"}'
        self.send_response(201)
        self.send_header("Content-Length", str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, *_):
        pass


def check_text(folder, port):
    print("a text and a call, signed")
    secret = folder / "secret"
    secret.write_text(SECRET + "\n")
    for channel in ("sms", "voice"):
        flags = ["--notify-hosts", HOST, f"--{channel}-url", f"http://{HOST}:{port}/{channel}",
                 f"--{channel}-secret-file", secret]
        said = send(channel, "+1 (202) 555-0142", *flags)
        say(f"{channel}: taken, with the provider's id", said == {"became": "taken", "provider_id": "m-1"}, str(said))
        path, headers, body = Provider.heard[-1]
        signed = headers["Closewatch-Timestamp"].encode() + b"." + body
        expected = "v1=" + hmac.new(SECRET.encode(), signed, hashlib.sha256).hexdigest()
        say(f"{channel}: signature", hmac.compare_digest(headers["Closewatch-Signature"], expected))
        say(f"{channel}: time", headers["Closewatch-Timestamp"] == str(NOW_S), headers["Closewatch-Timestamp"])
        say(f"{channel}: key against doubles", headers["Idempotency-Key"] == "letter-1")
        posted = {"version": 1, "reference": "letter-1", "channel": channel, "to": "+12025550142", "language": "es",
                  "text": BODY}
        say(f"{channel}: what is posted", path == f"/{channel}" and json.loads(body) == posted, body.decode())


def unpadded(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def padded(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def check_push(folder, port):
    print("a push, opened with http-ece, its token verified with cryptography")
    browser = ec.generate_private_key(ec.SECP256R1())
    point = (serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint)
    auth = os.urandom(16)
    subscription = json.dumps({
        "endpoint": f"http://{HOST}:{port}/push/secret",
        "keys": {"p256dh": unpadded(browser.public_key().public_bytes(*point)), "auth": unpadded(auth)},
    })
    practice = ec.generate_private_key(ec.SECP256R1())
    formats = {
        "PKCS#8": serialization.PrivateFormat.PKCS8,
        "SEC 1": serialization.PrivateFormat.TraditionalOpenSSL,
    }
    for form_name, form in formats.items():
        key = folder / "vapid.pem"
        key.write_bytes(practice.private_bytes(serialization.Encoding.PEM, form, serialization.NoEncryption()))
        flags = ["--notify-hosts", HOST, "--vapid-key-file", key, "--vapid-contact", "mailto:office@practice.example"]
        said = send("push", subscription, *flags)
        say(f"key in {form_name}: taken", said["became"] == "taken", str(said))
    _, headers, body = Provider.heard[-1]
    opened = json.loads(http_ece.decrypt(body, private_key=browser, auth_secret=auth, version="aes128gcm"))
    expected = {"title": SUBJECT, "body": BODY, "lang": "es", "tag": "letter-1"}
    say("opened with the browser's key", opened == expected, str(opened))
    say("headers", headers["Content-Encoding"] == "aes128gcm" and headers["TTL"] == "86400")
    token, public = headers["Authorization"].removeprefix("vapid t=").split(", k=")
    signed, signature = token.rsplit(".", 1)
    raw = padded(signature)
    der = encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    verifier = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), padded(public))
    try:
        verifier.verify(der, signed.encode(), ec.ECDSA(hashes.SHA256()))
        good = verifier.public_numbers() == practice.public_key().public_numbers()
    except InvalidSignature:
        good = False
    say("token signed with the practice's key", good)
    claims = json.loads(padded(signed.split(".")[1]))
    right = {"aud": f"http://{HOST}:{port}", "exp": NOW_S + 43200, "sub": "mailto:office@practice.example"}
    say("what the token says", claims == right, str(claims))


def main():
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        check_mail(folder)
        server = http.server.ThreadingHTTPServer((HOST, 0), Provider)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        check_text(folder, server.server_port)
        check_push(folder, server.server_port)
        server.shutdown()
    print(f"{faults} wrong")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
