"""A small MJPEG server on this machine, which a test can freeze, hang up and have refuse."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import cv2
import numpy as np


class StreamServer(ThreadingHTTPServer):
    daemon_threads = False

    def __init__(self, port: int = 0) -> None:
        super().__init__(("127.0.0.1", port), _Handler)
        self.over = threading.Event()
        self.frozen = threading.Event()
        self.hang_up = threading.Event()
        self.status = 200
        rng = np.random.default_rng(2)
        self.film = [
            cv2.imencode(".jpg", rng.integers(90, 110, (240, 320, 3), dtype=np.uint8))[1].tobytes()
            for _ in range(16)
        ]

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}/live.mjpg"

    def handle_error(self, request: object, client_address: object) -> None:
        """Say nothing: a client that goes away in mid-picture is what these tests are about."""


class _Handler(BaseHTTPRequestHandler):
    server: StreamServer

    def do_GET(self) -> None:
        self.send_response(self.server.status)
        self.send_header("Content-Type", "multipart/x-mixed-replace; boundary=frame")
        self.end_headers()
        if self.server.status != 200:
            return
        n = 0
        while not self.server.over.wait(0.02) and not self.server.hang_up.is_set():
            if self.server.frozen.is_set():
                continue
            jpeg = self.server.film[n % len(self.server.film)]
            n += 1
            head = f"--frame\r\nContent-Type: image/jpeg\r\nContent-Length: {len(jpeg)}\r\n\r\n"
            self.wfile.write(head.encode() + jpeg + b"\r\n")

    def log_message(self, *_: object) -> None:
        """Keep the tests' output clean."""


@contextmanager
def serving(port: int = 0) -> Iterator[StreamServer]:
    server = StreamServer(port)
    thread = threading.Thread(
        target=server.serve_forever, kwargs={"poll_interval": 0.02}, name="stream server"
    )
    thread.start()
    try:
        yield server
    finally:
        server.over.set()
        server.shutdown()
        thread.join()
        server.server_close()
