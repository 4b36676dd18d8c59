"""The proxy configuration of deploy/, tried with nginx: what it passes on, what it logs, and what it shows while the server is away.

python3 tests/outside/deploy/proxy.py PROGRAM; nginx is CLOSEWATCH_NGINX, or the one in PATH.
"""

import http.client
import http.server
import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
TOKEN = "canaryCanaryCanaryCanaryCanaryCanaryCanary0"
NAME = "wounds.your-practice.example"


def free_port():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def check(holds, words):
    print(("ok    " if holds else "WRONG ") + words)
    if not holds:
        sys.exit(1)


def configuration(folder, ports):
    """The example with its places changed, and what stands around it."""
    text = (ROOT / "deploy/proxy.conf.example").read_text(encoding="utf-8")
    for old, new in [
        ("127.0.0.1:8080", f"127.0.0.1:{ports['server']}"),
        ("    listen [::]:80;\n", ""),
        ("    listen [::]:443 ssl;\n", ""),
        ("listen 80;", f"listen 127.0.0.1:{ports['http']};"),
        ("listen 443 ssl;", f"listen 127.0.0.1:{ports['https']} ssl;"),
        ("/etc/closewatch/", f"{folder}/"),
        ("/var/log/nginx/", f"{folder}/logs/"),
        ("/var/www/closewatch", f"{folder}/www"),
    ]:
        assert old in text, old
        text = text.replace(old, new)
    temporary = "".join(
        f"  {kind}_temp_path {folder}/temporary/{kind};\n" for kind in ["client_body", "proxy", "fastcgi", "uwsgi", "scgi"]
    )
    user = "user root;\n" if os.getuid() == 0 else ""
    around = f"{user}daemon off;\npid {folder}/pid;\nerror_log {folder}/logs/start.log crit;\nevents {{}}\nhttp {{\n{temporary}{text}}}\n"
    path = folder / "nginx.conf"
    path.write_text(around, encoding="utf-8")
    return path


def ask(port, method, path, headers=None, body=None, tls=True):
    if tls:
        context = ssl.create_default_context()
        context.check_hostname = False
        context.verify_mode = ssl.CERT_NONE
        line = http.client.HTTPSConnection("127.0.0.1", port, timeout=20, context=context)
    else:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    line.request(method, path, body=body, headers={"Host": NAME, **(headers or {})})
    answer = line.getresponse()
    text = answer.read().decode("utf-8", "replace")
    line.close()
    return answer, text


class Echo(http.server.BaseHTTPRequestHandler):
    """Stands where the server stood, and remembers what the proxy passed on."""

    heard = []

    def do_GET(self):
        Echo.heard.append(dict(self.headers))
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_):
        pass


def started(arguments, ready, **more):
    process = subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, **more)
    for line in process.stdout:
        if ready in line:
            threading.Thread(target=lambda: [None for _ in process.stdout], daemon=True).start()
            return process
    sys.exit(f"{arguments[0]} ended before it was ready")


def until_listens(port):
    for _ in range(100):
        with socket.socket() as tried:
            if tried.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    sys.exit(f"nobody listens on {port}")


def main():
    program = str(Path(sys.argv[1]).resolve())
    nginx = os.environ.get("CLOSEWATCH_NGINX") or shutil.which("nginx")
    if not nginx:
        sys.exit("no nginx: name one with CLOSEWATCH_NGINX")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in ["logs", "www", "temporary", "data"]:
            (folder / part).mkdir()
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"]
            + ["-subj", f"/CN={NAME}", "-keyout", folder / "tls-key.pem", "-out", folder / "tls-cert.pem"],
            check=True,
            capture_output=True,
        )
        ports = {"server": free_port(), "http": free_port(), "https": free_port()}
        data = ["--data", str(folder / "data")]
        subprocess.run(
            [program, "staff", "add", *data, "--practice-name", "Quillmere Surgical Practice", "--practice-phone", "202-555-0140"]
            + ["--name", "Samuel Okonjo", "--sign-in-name", "sam", "--roles", "lead"],
            input="orchard pebble quarry river\n",
            text=True,
            check=True,
            capture_output=True,
        )
        subprocess.run([program, "fail-page", *data, "--to", str(folder / "www/fail.html")], check=True, capture_output=True)
        server = started(
            [program, "serve", *data, "--port", str(ports["server"]), "--public-url", f"https://{NAME}"], "listens on"
        )
        proxy = subprocess.Popen([nginx, "-c", str(configuration(folder, ports)), "-e", f"{folder}/logs/start.log"])
        try:
            until_listens(ports["https"])
            try_it(folder, ports, server)
        finally:
            for process in [proxy, server]:
                process.terminate()
                process.wait()


def try_it(folder, ports, server):
    https, plain = ports["https"], ports["http"]
    answer, _ = ask(https, "GET", "/sign-in")
    check(answer.status == 200, "a page comes through")
    check("max-age" in (answer.getheader("strict-transport-security") or ""), "and tells the browser to stay with HTTPS")
    answer, text = ask(https, "GET", f"/k/{TOKEN}", {"Referer": f"https://{NAME}/k/{TOKEN}"})
    check(answer.status == 200, "a link's page comes through")
    ask(https, "POST", f"/k/{TOKEN}", {"Origin": f"https://{NAME}"})
    ask(https, "GET", f"/k/{TOKEN}?again={TOKEN}")
    answer, _ = ask(https, "GET", "/ready")
    check(answer.status == 403, "what machines ask is not for everybody")

    answer, _ = ask(plain, "GET", "/sign-in", tls=False)
    check(
        answer.status == 308 and answer.getheader("location") == f"https://{NAME}/sign-in", "a plain page is led to HTTPS"
    )
    answer, _ = ask(plain, "POST", "/sign-in", body="a=b", tls=False)
    check(answer.status == 403, "a plain form is refused")

    server.kill()
    server.wait()
    for method, path, body in [("GET", f"/k/{TOKEN}", None), ("POST", "/my/check", b"x" * 3_000_000)]:
        answer, text = ask(https, method, path, {"Origin": f"https://{NAME}"}, body)
        check(answer.status == 503 and answer.getheader("retry-after") == "60", f"{method} while it is away: 503")
        check("202-555-0140" in text and "911" in text and "NO lo tenemos" in text, "and whom to ring, in both languages")

    stub = http.server.ThreadingHTTPServer(("127.0.0.1", ports["server"]), Echo)
    threading.Thread(target=stub.serve_forever, daemon=True).start()
    claims = {"X-Forwarded-For": "203.0.113.9, 198.51.100.1", "X-Forwarded-Proto": "http", "Origin": "https://elsewhere.example"}
    answer, _ = ask(https, "GET", "/", claims)
    heard = Echo.heard[-1]
    check(heard["X-Forwarded-For"] == "127.0.0.1", "what a browser claims of its address is replaced")
    check(heard["X-Forwarded-Proto"] == "https", "and of how it came")
    check(heard["Host"] == NAME and heard["Origin"] == "https://elsewhere.example", "Host and Origin stay as they are")
    stub.shutdown()

    logs = {path.name: path.read_text(encoding="utf-8") for path in (folder / "logs").iterdir()}
    lines = logs["closewatch.log"].splitlines()
    check(len(lines) >= 7 and all(re.search(r" (GET|POST) \d{3} ", line) for line in lines), "every request has its line")
    leaked = [name for name, text in logs.items() if TOKEN in text or "/k/" in text]
    check(not leaked, f"no log holds a link {leaked or ''}")


main()
