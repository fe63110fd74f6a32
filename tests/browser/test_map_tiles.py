"""Street tiles from a server that the settings name: exactly that host's pictures are let in, and none without it."""

import io
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from PIL import Image

from deploy import env
from tests.browser.checks import opens
from tests.makers.registry import an_installation

MAP = "[data-map][data-ready]"


@pytest.fixture
def tile_servers():
    """Two servers of plain tiles on this machine: [(address of the tiles, what was asked for)]."""
    out = io.BytesIO()
    Image.new("RGB", (256, 256), "#cde").save(out, "PNG")
    servers, found = [], []
    for _ in range(2):
        asked = []

        class Tiles(BaseHTTPRequestHandler):
            def do_GET(self, asked=asked):
                asked.append(self.path)
                self.send_response(200)
                self.send_header("Content-Type", "image/png")
                self.end_headers()
                self.wfile.write(out.getvalue())

            def log_message(self, *args):
                pass

        server = ThreadingHTTPServer(("127.0.0.1", 0), Tiles)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        servers.append(server)
        found.append((f"http://127.0.0.1:{server.server_port}/street/{{z}}/{{x}}/{{y}}.png", asked))
    yield found
    for server in servers:
        server.shutdown()
        server.server_close()


@pytest.fixture
def with_tiles(settings, monkeypatch):
    def set_to(address):
        monkeypatch.setenv("MAP_TILES", address)
        settings.MAP_TILES, hosts = env.tiles("MAP_TILES")
        settings.MAP_TILES_CREDIT = "Tiles: the test"
        policy = {k: list(v) for k, v in settings.CONTENT_SECURITY_POLICY["DIRECTIVES"].items()}
        policy["img-src"] = ["'self'", "data:", "blob:", *hosts]
        settings.CONTENT_SECURITY_POLICY = {"DIRECTIVES": policy}

    return set_to


def test_the_tiles_of_the_named_server_are_drawn_and_no_other_hosts_pictures(
    page_of, server, nadia, tile_servers, with_tiles
):
    (address, asked), (other, asked_other) = tile_servers
    an_installation(nadia.organisation)
    with_tiles(address)
    page = page_of(nadia, "desk", noisy=True)
    opens(page, server + "/map/")
    page.locator(MAP).wait_for()
    page.wait_for_function("document.querySelectorAll('img.leaflet-tile-loaded').length > 0")
    assert asked and all(path.startswith("/street/") and path.endswith(".png") for path in asked)
    assert "Tiles: the test" in page.content()
    let_in = "src => new Promise(done => { const i = new Image(); i.onload = () => done(true); " \
        "i.onerror = () => done(false); i.src = src; })"
    fill = {"{z}": "1", "{x}": "0", "{y}": "0"}
    for place, number in fill.items():
        address, other = address.replace(place, number), other.replace(place, number)
    assert page.evaluate(let_in, address)
    assert not page.evaluate(let_in, other) and not asked_other


def test_without_tiles_the_outline_is_drawn_and_nothing_leaves_this_server(page_of, server, nadia):
    an_installation(nadia.organisation)
    page = page_of(nadia, "desk")
    hosts = set()
    page.on("request", lambda request: hosts.add(request.url.split("/")[2]))
    opens(page, server + "/map/")
    page.locator(MAP).wait_for()
    assert page.locator("[data-map] canvas").count() > 0 and page.locator("img.leaflet-tile").count() == 0
    assert hosts == {server.split("/")[2]}
