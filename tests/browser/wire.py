"""The line between a telephone and the server in tests: it can be cut, slow, and lose requests or their answers."""

import http.client
import random
import socket
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit


class Wire:
    """A small HTTP proxy on 127.0.0.1. `cut`: nothing gets through. `bits_s`: speed of the whole line, both ways.

    `loses`: share of requests that fail; half of them are lost on the way there, half on the way back, so that the
    server has done what the telephone does not know of. The next `halves` records are cut off in the middle of their
    body; the next `breaks` are answered 500 after the server has done them, every second one before; the next `busy`
    are told to come back in a second.
    """

    def __init__(self, server, seed=7):
        self.target = urlsplit(server).netloc
        self.cut, self.bits_s, self.loses = False, None, 0.0
        self.seen, self.lost = 0, 0
        self.halves, self.breaks, self.busy, self.done = 0, 0, 0, []
        self._random, self._line = random.Random(seed), threading.Lock()
        wire = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.0"  # a connection a request, so that cutting cuts

            def log_message(self, *args):
                pass

            def handle_one_request(self):
                try:
                    super().handle_one_request()
                except (ConnectionError, TimeoutError):
                    self.close_connection = True

            def _go(self):
                wire._carry(self)

            do_GET = do_POST = do_PUT = do_HEAD = _go  # noqa: N815

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.address = f"http://127.0.0.1:{self._server.server_address[1]}"
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def _slow(self, size):
        if self.bits_s:
            with self._line:
                time.sleep(8 * size / self.bits_s)

    def _carry(self, asked):
        body = asked.rfile.read(int(asked.headers.get("Content-Length") or 0))
        if self.cut:
            return
        self.seen += 1
        fate = self._random.random()
        api = "/api/" in asked.path
        self._slow(len(body) + 400)
        if api and fate < self.loses / 2:
            self.lost += 1
            return  # lost on the way there
        if (trouble := self._trouble(asked, api, body)) == "before":
            return
        link = http.client.HTTPConnection(self.target, timeout=60)
        try:
            headers = {k: v for k, v in asked.headers.items() if k.lower() not in {"connection", "accept-encoding"}}
            link.request(asked.command, asked.path, body or None, headers)
            answer = link.getresponse()
            data = answer.read()
        finally:
            link.close()
        self._slow(len(data) + 300)
        if self.cut or (api and fate < self.loses):
            self.lost += 1
            return  # the answer is lost
        if trouble == "after":
            self._say(asked, 500)
            return
        asked.send_response(answer.status)
        for name, value in answer.getheaders():
            if name.lower() not in {"connection", "transfer-encoding", "content-length", "server", "date"}:
                asked.send_header(name, value)
        asked.send_header("Content-Length", str(len(data)))
        asked.end_headers()
        asked.wfile.write(data)

    def _trouble(self, asked, api, body):
        """ "before": the request goes no further; "after": its answer will be an error; None: all is well."""
        if not (api and body):
            return None
        if self.halves:
            self.halves -= 1
            self.done.append("half")
            with socket.create_connection(self.target.split(":"), timeout=10) as link:
                head = "".join(f"{name}: {value}\r\n" for name, value in asked.headers.items())
                link.sendall(f"{asked.command} {asked.path} HTTP/1.1\r\n{head}\r\n".encode() + body[: len(body) // 2])
            return "before"
        if self.busy:
            self.busy -= 1
            self.done.append("busy")
            self._say(asked, 503, ("Retry-After", "1"))
            return "before"
        if self.breaks:
            self.breaks -= 1
            self.done.append("break")
            if self.breaks % 2:
                self._say(asked, 500)
                return "before"
            return "after"
        return None

    @staticmethod
    def _say(asked, status, *headers):
        asked.send_response(status)
        for name, value in (*headers, ("Content-Length", "0")):
            asked.send_header(name, value)
        asked.end_headers()

    def close(self):
        self._server.shutdown()
        self._server.server_close()
