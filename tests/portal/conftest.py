"""A place with neighbours, made once for a module of tests."""

from typing import Any

import pytest
from django.test import override_settings

from tests.conftest import Place
from tests.portal.town import build_town, computed_once


@pytest.fixture(scope="module")
def town_of_module(material_of_module: Place, django_db_blocker: Any) -> Place:
    with django_db_blocker.unblock(), override_settings(MEDIA_ROOT=material_of_module.media):
        build_town(material_of_module)
    return material_of_module


@pytest.fixture
def town(town_of_module: Place, material: Place, monkeypatch: pytest.MonkeyPatch) -> Place:
    """The town as this test finds it. Its figures are the same whoever asks: they are computed once."""
    monkeypatch.setattr("reports.queries.compute_with_held_rows", computed_once)
    return material
