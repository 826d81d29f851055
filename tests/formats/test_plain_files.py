"""Files that a person names: what is none, too large or not there is told, and nothing raised."""

from geosand.errors import Faults
from geosand.formats.plain_files import plain_bytes


def told(path):
    faults = Faults()
    content = plain_bytes(path, "list.csv", 1, faults, "name a CSV file")
    return content, [str(fault) for fault in faults.found]


def test_a_plain_file_is_read(tmp_path):
    (tmp_path / "a.csv").write_bytes(b"id,area_m2\n")
    assert told(tmp_path / "a.csv") == (b"id,area_m2\n", [])


def test_what_can_not_be_read_is_told(tmp_path):
    (tmp_path / "large.csv").write_bytes(b" " * 1_000_001)
    remedy = "Name a CSV file."
    assert told(tmp_path) == (b"", [f"list.csv: is no plain file. {remedy}"])
    assert told(tmp_path / "none") == (b"", [f"list.csv: there is no such file. {remedy}"])
    assert told(tmp_path / "large.csv") == (b"", [f"list.csv: is larger than 1 MB. {remedy}"])
