"""Refuse a file that is too large from its announced size, before a byte of it is kept."""

from typing import Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadhandler import FileUploadHandler

FORM_BYTES = 1024 * 1024
"""What the rest of a form may take beside its file."""


class SizeLimit(FileUploadHandler):
    """First of the upload handlers; lets smaller files through to the others."""

    def handle_raw_input(
        self,
        input_data: Any,
        META: Any,  # noqa: N803
        content_length: int,
        *args: Any,
        **kwargs: Any,
    ) -> None:
        if content_length > settings.UPLOAD_LIMIT_BYTES + FORM_BYTES:
            raise RequestDataTooBig(f"{content_length} bytes announced")

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        return raw_data

    def file_complete(self, file_size: int) -> None:
        return None
