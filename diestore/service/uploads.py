"""Files that are sent: some pages take one, in memory and never on the disk; everywhere else none is taken."""

from __future__ import annotations

from io import BytesIO

from django.core.exceptions import RequestDataTooBig, TooManyFilesSent
from django.core.files.uploadhandler import MemoryFileUploadHandler
from django.urls import Resolver404, resolve

from diestore.pictures import BYTES_AT_MOST as PHOTO_AT_MOST

BYTES_AT_MOST = 8_200_000  # of a spreadsheet
BOOKS = {"maintenance:book_new", "maintenance:list_new"}
PHOTOS = {
    "maintenance:log_stop",
    "maintenance:log_mishap",
    "maintenance:bench_new",
    "maintenance:photo_new",
    "maintenance:complaint",
    "maintenance:inspection_plan",
    "maintenance:bill_new",
}
WHOLE_AT_MOST = 100_000_000  # a photo larger than that is not even read to its end


class ForPagesThatTakeOne(MemoryFileUploadHandler):
    """Keeps the file of a page that takes one; a file for any other page ends the request.

    A photo that is too large is read past, a chunk at a time, and comes to the form without its content, only with its
    size: so the form says what is wrong, and what was typed beside it is not lost.
    """

    def handle_raw_input(self, input_data, META, content_length, boundary, encoding=None) -> None:
        self.activated, self.taken, self.is_photo = True, 0, False
        if content_length > WHOLE_AT_MOST:
            raise RequestDataTooBig(f"A body of {content_length:,} bytes.")

    def new_file(self, *args, **kwargs) -> None:
        page = _page(self.request)
        self.is_photo = page in PHOTOS
        if not self.is_photo and page not in BOOKS:
            raise TooManyFilesSent("This page takes no files.")
        super(MemoryFileUploadHandler, self).new_file(*args, **kwargs)
        self.file = BytesIO()

    def receive_data_chunk(self, raw_data, start) -> None:
        self.taken += len(raw_data)
        if self.taken <= (PHOTO_AT_MOST if self.is_photo else BYTES_AT_MOST):
            self.file.write(raw_data)
        elif self.is_photo:
            self.file = BytesIO()
        else:
            raise RequestDataTooBig(f"A file of more than {BYTES_AT_MOST:,} bytes.")


def _page(request) -> str:
    try:
        return "" if request is None else resolve(request.path_info).view_name
    except Resolver404:
        return ""
