"""Files that are sent: one page takes one, in memory and never on the disk; everywhere else none is taken."""

from __future__ import annotations

from io import BytesIO

from django.core.exceptions import RequestDataTooBig, TooManyFilesSent
from django.core.files.uploadhandler import MemoryFileUploadHandler
from django.urls import reverse

TAKES_FILES = ("maintenance:book_new",)
BYTES_AT_MOST = 8_200_000  # of a file


class ForOnePage(MemoryFileUploadHandler):
    """Keeps the file of a page that takes one; a file for any other page ends the request."""

    def handle_raw_input(self, input_data, META, content_length, boundary, encoding=None) -> None:
        self.activated, self.taken = True, 0

    def new_file(self, *args, **kwargs) -> None:
        if self.request is None or self.request.path not in {reverse(name) for name in TAKES_FILES}:
            raise TooManyFilesSent("This page takes no files.")
        super(MemoryFileUploadHandler, self).new_file(*args, **kwargs)
        self.file = BytesIO()

    def receive_data_chunk(self, raw_data, start) -> None:
        self.taken += len(raw_data)
        if self.taken > BYTES_AT_MOST:
            raise RequestDataTooBig(f"A file of more than {BYTES_AT_MOST:,} bytes.")
        self.file.write(raw_data)
