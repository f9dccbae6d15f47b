"""The spoilt files again, this time dropped on the page: a clear message each, no server error, nothing half loaded."""

from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils.html import escape

from portal.models import HeldRow, Upload
from sawing.models import Board
from tests.conftest import Place
from tests.faults.spoilt_files import LOGS, SPOILT, Spoilt, write_sparse


@pytest.fixture
def mill(place: Place, client: Client) -> Client:
    """A mill clerk's browser, in a study that has the logs which the spoilt tallies speak of."""
    place.bring("clones", "clone,kind\nK,hybrid\n")
    place.bring("layout", "site,block,plot,clone,tree,row,col\nS,1,1,K,T,1,1\n")
    rows = "".join(f"{log},T,{4 * i},4,252.4,252.4\n" for i, log in enumerate(LOGS))
    assert place.bring("logs", f"log,tree,bottom_m,length_m,sed1_mm,led1_mm\n{rows}").held == 0
    client.force_login(place.people["mill"])
    return client


def drop(client: Client, name: str, data: bytes) -> object:
    file = SimpleUploadedFile(name, data)
    return client.post(
        reverse("portal:bring_file"), {"kind": "boards", "place": "small/first", "file": file}, follow=True
    )


@pytest.mark.parametrize("spoilt", SPOILT, ids=lambda s: s.name)
def test_a_spoilt_file_on_the_page(mill: Client, place: Place, spoilt: Spoilt) -> None:
    response = drop(mill, spoilt.filename, spoilt.build())
    page = response.content.decode()  # type: ignore[attr-defined]
    assert escape(spoilt.told) in page
    assert Board.objects.count() == 0
    if spoilt.whole:
        assert response.status_code == 422  # type: ignore[attr-defined]
        assert "Nothing was stored" in page
        assert not Upload.objects.filter(kind="boards").exists()
        return
    assert response.status_code == 200  # type: ignore[attr-defined]
    upload = Upload.objects.get(kind="boards")
    stored = mill.post(reverse("portal:store_file", args=[upload.pk]), follow=True)
    assert stored.status_code == 200
    upload.refresh_from_db()
    assert (upload.state, upload.added, Board.objects.count()) == ("stored", spoilt.good, spoilt.good)
    assert upload.held == HeldRow.objects.filter(upload=upload).count() > 0
    assert escape(spoilt.told) in mill.get(reverse("portal:held", args=[upload.pk])).content.decode()


def test_a_file_of_200_mb_is_refused_from_its_size(mill: Client, tmp_path: Path) -> None:
    path = tmp_path / "tally.csv"
    write_sparse(path)

    class Unread:
        """A body that fails when it is read."""

        def read(self, size: int = -1) -> bytes:
            raise AssertionError("the body was read")

        readline = read

    response = mill.generic(
        "POST",
        reverse("portal:bring_file"),
        **{
            "wsgi.input": Unread(),
            "CONTENT_TYPE": "multipart/form-data; boundary=larch",
            "CONTENT_LENGTH": str(path.stat().st_size),
        },
    )
    page = response.content.decode()
    assert response.status_code == 413
    assert f"{settings.UPLOAD_LIMIT_BYTES >> 20} MB" in page
    assert "Nothing was stored" in page
    assert not Upload.objects.filter(kind="boards").exists()
