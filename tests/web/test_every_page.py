"""No link of the house leads nowhere: from the first page on, each kind of page is opened by each kind of person."""

import re
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import lucide
import pytest
from django.conf import settings

from tests.makers.everything import one_of_each

# One page of each kind is enough: keys, days, codes and short codes stand for all their like.
ALIKE = [
    (r"[0-9a-f]{8}-[0-9a-f-]{27}", "KEY"), (r"\d{4}-\d\d-\d\d", "DAY"), (r"(?<=/)\d+(?=/|$)", "N"),
    (r"(?<=sites/)(?!add/)[^/]+", "SITE"), (r"(?<=/u/)[^/]+", "SHORT"),
]  # fmt: skip
NOT_WALKED = re.compile(r"/log-out|/static/|/media/|/api/v1/schema/|sheet\.pdf")


class Links(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.found = []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        if tag == "a" and (address := dict(attributes).get("href")):
            self.found.append(address)


def kind_of(address):
    path = urlsplit(address).path
    for rule, word in ALIKE:
        path = re.sub(rule, word, path)
    return path


def walk(client, first="/"):
    """{kind of page: (status, address, page with the link)} of all that links lead to."""
    seen, to_go = {}, [(first, "")]
    while to_go:
        address, source = to_go.pop(0)
        kind = kind_of(address)
        if kind in seen or NOT_WALKED.search(address):
            continue
        answer = client.get(address)
        seen[kind] = answer.status_code, address, source
        if answer.status_code in {301, 302}:
            to_go.append((urljoin(address, answer.url), address))
        elif answer.status_code == 200 and answer.headers.get("Content-Type", "").startswith("text/html"):
            inside = (urljoin(address, link) for link in Links(answer.content.decode()).found)
            to_go += [(link, address) for link in inside if link.startswith("/")]
        elif getattr(answer, "streaming", False):
            answer.close()
    return seen


@pytest.mark.parametrize("who", ["nadia", "idris", "wanja", "amara"])
def test_each_link_that_somebody_is_shown_leads_to_a_page_that_they_may_see(
    who, organisation, amara, idris, request, client_of
):
    for number in (1, 2):
        one_of_each(organisation, amara, idris, number)
    seen = walk(client_of(request.getfixturevalue(who)))
    assert len(seen) > (25 if who == "idris" else 35), sorted(seen)
    assert {kind: how for kind, how in seen.items() if how[0] not in {200, 301, 302}} == {}


def test_each_icon_that_a_template_or_a_module_names_exists():
    named = {}
    for path in [*(settings.BASE_DIR / "templates").rglob("*.html"), *(settings.BASE_DIR / "fleet").rglob("*.py")]:
        for name in re.findall(r"""\{% icon ["']([\w-]+)["']|\bicon=["']([\w-]+)["']""", path.read_text("utf-8")):
            named.setdefault("".join(name), path)
    assert len(named) > 60
    missing = {}
    for name, path in named.items():
        try:
            lucide._load_icon(name)
        except lucide.IconDoesNotExist:
            missing[name] = path
    assert missing == {}
