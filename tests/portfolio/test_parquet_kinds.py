"""Parquet files as other writers make them: encodings, checksums, encryption, reference systems."""

from __future__ import annotations

import errno
import json
import os
import shutil
import sqlite3

import geopandas
import numpy as np
import pyarrow.parquet as pq
import pyproj
import pytest

from geosand.portfolio import parquet_tables
from geosand.portfolio.folders import find_sites
from tests.portfolio.conftest import run_many
from tests.portfolio.set_changes import refusal


@pytest.fixture
def root(site_set, tmp_path):
    return shutil.copytree(site_set, tmp_path / "set")


@pytest.mark.parametrize("encoding", ["DELTA_BYTE_ARRAY", "DELTA_LENGTH_BYTE_ARRAY"])
@pytest.mark.parametrize("group", [50, None])
def test_texts_encoded_by_what_differs_are_read_as_all_others(
    site_set, root, tmp_path, encoding, group
):
    """Apache Parquet, encodings 6 and 7: writers of data pages of version 2 choose them."""
    for name in ("dressings", "loads", "catches"):
        table = pq.read_table(root / f"{name}.parquet")
        texts = [field.name for field in table.schema if str(field.type) == "string"]
        pq.write_table(
            table,
            root / f"{name}.parquet",
            use_dictionary=False,
            column_encoding=dict.fromkeys(texts, encoding),
            row_group_size=group,
        )
    for source, out in ((site_set, "a"), (root, "b")):
        assert not run_many(source, tmp_path / out).comparison.refused
    for name in ("balances.csv", "ledger.csv", "sites.csv"):
        one, other = ((tmp_path / out / name).read_bytes() for out in "ab")
        assert one == other


def test_a_changed_byte_beneath_a_checksum_is_no_figure(root, tmp_path):
    """Apache Parquet, data pages: the CRC is of the page's bytes as they stand."""
    path = root / "catches.parquet"
    plain = {"compression": "none", "use_dictionary": False, "use_byte_stream_split": False}
    pq.write_table(pq.read_table(path), path, write_page_checksum=True, **plain)
    told = pq.read_metadata(path).row_group(0)
    gross = next(told.column(k) for k in range(told.num_columns) if _is(told, k, "gross_g"))
    content = bytearray(path.read_bytes())
    last = gross.data_page_offset + gross.total_compressed_size - 2
    content[last] ^= 0x08  # of the last reading, which stays a usual one
    path.write_bytes(content)
    assert np.isfinite(pq.read_table(path)["gross_g"].to_numpy()).all()
    refused = run_many(root, tmp_path / "out").comparison.refused
    assert refused
    for row in refused:
        assert row["faults"] == "catches.parquet: can not be read (OSError). Write it again."


def _is(group, number, name):
    return group.column(number).path_in_schema == name


@pytest.mark.parametrize(
    ("whole", "found"),
    [(False, "is no Parquet file: Could not read encrypted"), (True, "has encrypted columns")],
)
def test_encrypted_files_are_refused(root, whole, found):
    """With a readable footer Arrow ended the process."""
    encryption = pytest.importorskip("pyarrow.parquet.encryption")

    class Keys(encryption.KmsClient):
        def wrap_key(self, key, master):
            return key

    settings = encryption.EncryptionConfiguration(
        footer_key="a", column_keys={"b": ["gross_g"]}, plaintext_footer=whole
    )
    factory = encryption.CryptoFactory(lambda _: Keys())
    keys = factory.file_encryption_properties(encryption.KmsConnectionConfig(), settings)
    path = root / "catches.parquet"
    table = pq.read_table(path)
    with pq.ParquetWriter(path, table.schema, encryption_properties=keys) as writer:
        writer.write_table(table)
    assert refusal(root).startswith(f"catches.parquet: {found}")


def test_a_file_that_may_not_be_read_is_no_damaged_one(root, monkeypatch):
    """The one who runs the tests may read all."""

    def closed(path):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))

    monkeypatch.setattr(parquet_tables.pq, "read_metadata", closed)
    told = "sites.parquet: can not be read: Permission denied. Look at its rights."
    assert refusal(root) == told


@pytest.mark.parametrize(("code", "sound"), [(4326, True), (3857, False)])
def test_a_reference_system_without_its_number_is_known_by_what_it_says(root, code, sound):
    path = root / "surfaces.parquet"
    table = pq.read_table(path)
    told = json.loads(table.schema.metadata[b"geo"])
    system = pyproj.CRS(code).to_json_dict()
    del system["id"]
    told["columns"][told["primary_column"]]["crs"] = system
    pq.write_table(table.replace_schema_metadata({b"geo": json.dumps(told).encode()}), path)
    if sound:
        assert len(find_sites(root, root / "out").keys()) == 5
    else:
        assert refusal(root).startswith("surfaces.parquet: its coordinates are in EPSG:3857;")


@pytest.mark.parametrize("layer", ["load", "Loads 2026", " loads", "loads (copy)", "loads.csv"])
@pytest.mark.parametrize("one", [True, False])
def test_layers_that_are_nearly_called_as_a_table_are_told(root, layer, one):
    """In one GeoPackage, or beside the surfaces of a folder: the loads would be lost unsaid."""
    import pyogrio

    package = root / ("all.gpkg" if one else "surfaces.gpkg")
    names = ("sites", "surfaces", "dressings", "loads") if one else ("surfaces", "loads")
    for name in names:
        path = root / f"{name}.parquet"
        read = geopandas.read_parquet if name == "surfaces" else geopandas.pd.read_parquet
        pyogrio.write_dataframe(read(path), package, layer=name, append=package.exists())
        path.unlink()
    base = sqlite3.connect(package)
    for table in ("gpkg_contents", "gpkg_ogr_contents"):
        base.execute(f"UPDATE {table} SET table_name = ? WHERE table_name = 'loads'", [layer])
    base.execute("UPDATE gpkg_contents SET identifier = table_name")
    base.execute(f'ALTER TABLE loads RENAME TO "{layer}"')
    base.commit()
    base.close()
    source = find_sites(package if one else root, root / "out")
    instead = "the layer loads" if one else "loads.parquet"
    assert list(source.not_read()) == [
        f"the layer {layer} is not read; what belongs there is read from {instead}"
    ]
