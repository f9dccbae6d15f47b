"""The frame of the page in the stand: the same for everybody, whole, and a new version when a file changes."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse

from trials import field

pytestmark = pytest.mark.django_db


def text_of(name: str, client: Client | None = None) -> str:
    response = (client or Client()).get(reverse(f"trials:{name}"))
    assert response.status_code == 200
    return response.content.decode()


def test_the_frame_is_the_same_for_everybody_and_opens_signed_out(full: Any) -> None:
    crew = Client()
    crew.force_login(full.people["field_crew"])
    assert text_of("field", crew) == text_of("field")
    assert "Felling, limbing and crosscutting kill." in text_of("field")


def test_the_frame_holds_no_inline_script_or_style() -> None:
    text = text_of("field")
    assert not re.search(r"<script(?![^>]*\bsrc=)|\bstyle=|\bon[a-z]+=|<style", text)
    assert "default-src 'self'" in Client().get(reverse("trials:field"))["Content-Security-Policy"]


def test_the_worker_keeps_every_file_that_the_page_asks_for() -> None:
    worker = text_of("field_worker")
    kept = set(json.loads(re.search(r"new Set\((\[.*?\])\)", worker)[1]))
    asked = set(re.findall(r'(?:src|href)="(/(?:static/|field/)[^"]*)"', text_of("field")))
    for module in field.FOLDER.glob("*.js"):
        asked |= {f"/static/trials/field/{n}" for n in re.findall(r'from "\./([\w.]+)"', module.read_text())}
    assert asked <= kept
    assert not [address for address in kept if "/api/" in address]
    for address in kept:
        if address.startswith("/static/"):
            assert finders.find(address.removeprefix("/static/")), address


def test_the_worker_may_govern_the_whole_page() -> None:
    response = Client().get(reverse("trials:field_worker"))
    assert response["Service-Worker-Allowed"] == "/field/"
    assert response["Content-Type"].startswith("text/javascript")
    assert response["Cache-Control"] == "no-cache"


def test_a_changed_file_is_another_version(monkeypatch: Any, tmp_path: Path, settings: Any) -> None:
    settings.DEBUG = True
    before = field.version()
    changed = tmp_path / "queue.js"
    changed.write_text("// another text\n")
    found = field._found
    monkeypatch.setattr(
        field, "_found", lambda name: str(changed) if name.endswith("queue.js") else found(name)
    )
    assert field.version() != before
    monkeypatch.undo()
    assert field.version() == before


def test_the_manifest_can_be_installed() -> None:
    manifest = json.loads(text_of("field_manifest"))
    assert manifest["start_url"] == manifest["scope"] == "/field/"
    assert manifest["display"] == "standalone"
    for icon in manifest["icons"]:
        path = finders.find(icon["src"].removeprefix("/static/"))
        width = int.from_bytes(Path(path).read_bytes()[16:20], "big")
        assert icon["sizes"] == f"{width}x{width}"
