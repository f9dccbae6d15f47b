"""Taking photos in: each is stored once, or stays on the phone with its reasons."""

import uuid
from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from portal import access
from portal.models import Role, User
from trials.calc.entry_reading import MOST_INTEGER, read_id, read_time
from trials.entries.actions.receiving import NO_ID, NO_OBJECT, Answer
from trials.entries.ground import MAY_ENTER, NO_ASSESSMENT
from trials.entries.pictures import PhotoRefusedError, read_picture
from trials.models import Assessment, Photo, Tree

STORED = "stored"


def receive_photo(*, about: Any, data: bytes, by: User) -> Answer:
    """Take one photo: stored once, however often it is sent. One of an assessment closed meanwhile is stored too.

    :param about: JSON object as the phone sent it: id, device, assessment, tree, taken_at.
    :returns: taken, or not, with every reason: the phone then keeps the photo.
    """
    if not isinstance(about, dict):
        return Answer(None, False, problems=(NO_OBJECT,))
    identity = read_id(about.get("id"))
    if identity is None:
        return Answer(about.get("id"), False, problems=(NO_ID,))
    if Photo.objects.filter(client_id=identity).exists():
        return Answer(about["id"], True, STORED)
    problems: list[str] = []
    assessment = _assessment(about, by, problems)
    tree = _tree(about, assessment, problems)
    picture = None
    try:
        picture = read_picture(data)
    except PhotoRefusedError as refusal:
        problems.append(str(refusal))
    if assessment is None or tree is None or picture is None:
        return Answer(about["id"], False, problems=tuple(problems))
    photo = Photo(
        client_id=identity,
        assessment=assessment,
        tree_id=tree,
        device=read_id(about.get("device")),
        taken_at=read_time(about.get("taken_at")),
        received_at=timezone.now(),
        by=by,
        width_px=picture.width_px,
        height_px=picture.height_px,
        content=picture.content,
        small=picture.small,
    )
    _store(photo, identity)
    return Answer(about["id"], True, STORED)


def set_photo_aside(*, photo: Photo, aside: bool, by: User) -> None:
    """Take a photo out of the lists, or bring it back; it stays stored, and the history tells who. Managers only.

    Sent again by its phone it counts as stored, and stays aside.
    """
    access.require(by, photo.assessment.site.trial_id, [Role.MANAGER])
    # As it is now: the second of two that press the same button changes nothing.
    Photo.objects.filter(pk=photo.pk, set_aside=not aside).update(set_aside=aside)


def _store(photo: Photo, identity: uuid.UUID) -> None:
    try:
        with transaction.atomic():
            photo.save()
    except IntegrityError:
        # The same photo came at the same moment by another way.
        if not Photo.objects.filter(client_id=identity).exists():
            raise


def _assessment(about: Mapping[str, Any], by: User, problems: list[str]) -> Assessment | None:
    named = about.get("assessment")
    found = None
    if type(named) is int and 0 < named <= MOST_INTEGER:
        found = Assessment.objects.select_related("site").filter(pk=named).first()
    if found is None or not access.may(by, found.site.trial_id, MAY_ENTER):
        problems.append(NO_ASSESSMENT.format(named if type(named) is int else "none"))
        return None
    return found


def _tree(about: Mapping[str, Any], assessment: Assessment | None, problems: list[str]) -> int | None:
    code = about.get("tree")
    if assessment is None:
        return None
    known = isinstance(code, str) and "\x00" not in code
    found = Tree.objects.filter(site=assessment.site_id, code=code).first() if known else None
    if found is None:
        shown = code[:60] if isinstance(code, str) else "none"
        problems.append(f"tree: found {shown}, expected a tree of site {assessment.site.code}")
    return found.pk if found else None
