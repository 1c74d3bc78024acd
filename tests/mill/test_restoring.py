"""A restored book in the place of the one in use, as far as files alone show it. Whole books are restored in slow/."""

from pathlib import Path

import pytest
from django.db import connection

from mill.restoring import FileBeside


def test_the_old_book_keeps_its_name_until_the_new_one_takes_it(tmp_path, monkeypatch):
    """Cut off in between, as where there is no new one, it is there: the next start would begin an empty book."""
    monkeypatch.setitem(connection.settings_dict, "NAME", str(tmp_path / "shedbook.sqlite3"))
    place = FileBeside()
    place.book.write_bytes(b"the old one")
    with pytest.raises(FileNotFoundError):
        place.put_in_place(is_first=False)
    assert place.book.read_bytes() == b"the old one"
    place.beside.write_bytes(b"the new one")
    kept = place.put_in_place(is_first=False)
    assert place.book.read_bytes() == b"the new one"
    assert Path(kept).read_bytes() == b"the old one"
