"""Bundles made to harm: refused with one sentence, within bounds, and nothing is ever written outside."""

from __future__ import annotations

import io
import json
import os
import random
import stat
import struct
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from coach.bundle import zipped
from coach.bundle.check import check_bundle
from coach.bundle.opening import open_bundle
from coach.bundle.strict import dump, load
from coach.bundle.wanted import MANIFEST
from coach.errors import BundleError

STAMP = (1980, 1, 1, 0, 0, 0)


def pack(path, files, *, info=None, method=zipfile.ZIP_DEFLATED):
    """A zip with any names; `info` changes each entry's head."""
    with zipfile.ZipFile(path, "w", method) as packed:
        for name, raw in files:
            entry = zipfile.ZipInfo(name, STAMP)
            entry.compress_type = method
            entry.external_attr = (stat.S_IFREG | 0o600) << 16
            if info is not None:
                info(entry)
            packed.writestr(entry, raw)
    return path


def refusal(path) -> str:
    """The sentence with which it is refused."""
    with pytest.raises(BundleError) as caught:
        check_bundle(path)
    text = str(caught.value)
    assert "\n" not in text
    assert "Traceback" not in text
    return text


@pytest.mark.parametrize(
    "name",
    [
        "../outside.txt",
        "/etc/passwd",
        "a/../../b",
        "C:/x",
        "C:\\x",
        "a\\b",
        "a//b",
        "./a",
        "a/",
        "~/x",
        "a/.hidden",
        "a\nb",
        "nul\0x",
    ],
)
def test_names_that_lead_elsewhere(tmp_path, name):
    """Traversal, absolute paths, other systems' separators, hidden files, control characters."""
    path = tmp_path / "b.zip"
    raw = io.BytesIO()
    pack(raw, [("x" * len(name), b"1")])
    path.write_bytes(raw.getvalue().replace(b"x" * len(name), name.encode()))
    text = refusal(path)
    assert "leads elsewhere or is not allowed" in text or "before the file" in text
    assert sorted(p.name for p in tmp_path.iterdir()) == ["b.zip"]


def test_names_in_unknown_encodings(tmp_path):
    """Neither UTF-8 nor any other: a bundle's names are plain."""
    assert "unknown encoding" in refusal(pack(tmp_path / "b.zip", [("größe.txt", b"x")]))
    raw = io.BytesIO()
    pack(raw, [("xx", b"1")])
    (tmp_path / "c.zip").write_bytes(raw.getvalue().replace(b"xx", b"\xff\xfe"))
    assert "unknown encoding" in refusal(tmp_path / "c.zip")


def test_links_and_folders(tmp_path):
    """A symbolic link, a folder, a device."""
    for kind in (stat.S_IFLNK, stat.S_IFDIR, stat.S_IFCHR):

        def link(entry, kind=kind):
            entry.external_attr = (kind | 0o777) << 16

        assert "a link or a folder" in refusal(pack(tmp_path / "b.zip", [("a", b"/etc/passwd")], info=link))


def test_the_same_name_twice(tmp_path):
    """Also where only upper and lower case differ: on some systems that is one file."""
    with pytest.warns(UserWarning, match="Duplicate name"):
        path = pack(tmp_path / "b.zip", [("a", b"1"), ("a", b"2")])
    assert "twice" in refusal(path)
    assert "twice" in refusal(pack(tmp_path / "c.zip", [("a", b"1"), ("A", b"2")]))


def test_bombs(tmp_path, monkeypatch):
    """By ratio, by number of files, by size of one and of all; only the lists are read."""
    assert "times its size" in refusal(pack(tmp_path / "ratio.zip", [("a", bytes(2**21))]))
    monkeypatch.setattr(zipped, "MOST_ENTRIES", 20)
    assert "at most 20" in refusal(pack(tmp_path / "count.zip", [(f"f{n}", b"") for n in range(21)]))
    monkeypatch.setattr(zipped, "MOST_ALL", 1_000)
    assert "unpacks to more" in refusal(pack(tmp_path / "all.zip", [("a", bytes(600)), ("b", bytes(600))]))
    monkeypatch.setattr(zipped, "MOST_ONE", 100)
    assert "unpacks to more" in refusal(pack(tmp_path / "one.zip", [("a", bytes(600))]))
    monkeypatch.setattr(zipped, "MOST_FILE", 100)
    assert "too large" in refusal(tmp_path / "one.zip")


def test_a_size_that_is_a_lie(forge, good, own):
    """The list says little and the file unpacks to much: reading stops where the list said it would."""
    raw = good.read_bytes()
    with zipfile.ZipFile(good) as packed:
        info = packed.getinfo("README.txt")
    lie = raw.replace(struct.pack("<III", info.CRC, info.compress_size, info.file_size),
                      struct.pack("<III", info.CRC, info.compress_size, 10))  # fmt: skip
    path = good.with_name("lie.zip")
    path.write_bytes(lie)
    assert ("file_damaged", "README.txt") in [(p["code"], p["where"]) for p in check_bundle(path)["problems"]]


def test_what_is_no_plain_zip(tmp_path, good):
    """Passwords, other packings, comments, extra fields, data descriptors, zip64, something before or after."""
    with zipfile.ZipFile(tmp_path / "comment.zip", "w") as packed:
        packed.writestr(zipfile.ZipInfo("a", STAMP), b"x")
        packed.comment = b"hello"
    assert "cut off, or something was added" in refusal(tmp_path / "comment.zip")
    for method in (zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2):
        assert "packed by another program" in refusal(pack(tmp_path / "m.zip", [("a", b"x")], method=method))

    def locked(entry):
        entry.flag_bits |= 1

    def extra(entry):
        entry.extra = b"\x01\x00\x08\x00" + bytes(8)

    raw = io.BytesIO()
    pack(raw, [("a", b"x" * 50)])
    data = bytearray(raw.getvalue())
    data[6] |= 1
    at = data.index(b"PK\1\2")
    data[at + 8] |= 1
    (tmp_path / "l.zip").write_bytes(data)
    assert "password" in refusal(tmp_path / "l.zip")
    assert "packed by another program" in refusal(pack(tmp_path / "e.zip", [("a", b"x")], info=extra))
    with (
        zipfile.ZipFile(tmp_path / "64.zip", "w") as packed,
        packed.open(zipfile.ZipInfo("a", STAMP), "w", force_zip64=True) as file,
    ):
        file.write(b"x")
    assert "b" in refusal(tmp_path / "64.zip")

    def later(entry):
        entry.date_time = (2024, 1, 1, 0, 0, 0)

    assert "packed by another program" in refusal(pack(tmp_path / "t.zip", [("a", b"x")], info=later))
    for name, changed in (("before", b"MZ" + good.read_bytes()), ("after", good.read_bytes() + b"more")):
        (tmp_path / name).write_bytes(changed)
        assert refusal(tmp_path / name)
    (tmp_path / "stream.zip").write_bytes(_streamed())
    assert "packed by another program" in refusal(tmp_path / "stream.zip")


def _streamed() -> bytes:
    """A zip with data descriptors, as one written to a pipe has."""

    class Pipe(io.RawIOBase):
        def __init__(self):
            self.data = b""

        def writable(self):
            return True

        def write(self, piece):
            self.data += bytes(piece)
            return len(piece)

    pipe = Pipe()
    with zipfile.ZipFile(pipe, "w") as packed:
        packed.writestr(zipfile.ZipInfo("a", STAMP), b"x")
    return pipe.data


def test_entries_that_overlap_or_hide_something(good, tmp_path):
    """Two entries over the same bytes, bytes that no entry names, a list that says other than the heads."""
    body = zlib.compress(b"x" * 100, 9)[2:-4]
    crc = zlib.crc32(b"x" * 100)
    common = struct.pack("<5H3I", 20, 0, 8, 0, 0x21, crc, len(body), 100)
    head = b"PK\3\4" + common + struct.pack("<2H", 1, 0) + b"a"

    def listed(name, offset):
        rest = struct.pack("<5H2I", 1, 0, 0, 0, 0, 0o100600 << 16, offset)
        return b"PK\1\2" + struct.pack("<H", 0x0314) + common + rest + name

    def zip_of(data, listing, count):
        end = b"PK\5\6" + struct.pack("<4H2IH", 0, 0, count, count, len(listing), len(data), 0)
        return data + listing + end

    path = tmp_path / "b.zip"
    path.write_bytes(zip_of(head + body, listed(b"a", 0) + listed(b"b", 0), 2))
    assert "overlap" in refusal(path)
    path.write_bytes(zip_of(head + body + b"hidden", listed(b"a", 0), 1))
    assert "does not name" in refusal(path)
    path.write_bytes(zip_of(b"PK\3\4hidden" + head + body, listed(b"a", 10), 1))
    assert "hidden" in refusal(path)
    path.write_bytes(zip_of(head + body, listed(b"b", 0), 1))
    assert "not what the list of files says" in refusal(path)
    path.write_bytes(zip_of(head + body, listed(b"a", 0), 2))
    assert "cut off" in refusal(path)
    path.write_bytes(zip_of(head + body[:-4], listed(b"a", 0), 1))
    assert "cut off" in refusal(path)
    path.write_bytes(zip_of(head + body, listed(b"a", 0)[:-1] + b"", 1))
    assert refusal(path)
    path.write_bytes(zip_of(head + body, listed(b"a", 0).replace(b"PK\1\2", b"PK\1\3"), 1))
    assert "damaged" in refusal(path)


@pytest.mark.parametrize("share", [0.0, 0.001, 0.3, 0.9, 0.999])
def test_a_bundle_that_is_cut_off(good, tmp_path, share):
    raw = good.read_bytes()
    (tmp_path / "b.zip").write_bytes(raw[: int(len(raw) * share)])
    assert refusal(tmp_path / "b.zip")


def test_what_is_no_file(tmp_path):
    assert "No such file" in refusal(tmp_path / "nothing.zip")
    assert refusal(tmp_path)


BAD_JSON = [
    (b'{"kind": NaN}', "no number"),
    (b'{"kind": 1e999}', "too large"),
    (b'{"kind": ' + b"9" * 30 + b"}", "too large"),
    (b'{"kind": ' + b"9" * 6_000 + b"}", "too large"),
    (b'{"kind": 0.' + b"1" * 60 + b"}", "too long"),
    (b"[" * 100_000, "deep"),
    (b"[" * 60 + b"]" * 60, "deep"),
    (b'{"a": 1, "a": 2}', "twice"),
    (b"\xff\xfe{}", "UTF-8"),
    (b"{", "not JSON"),
    (b"[]", "no bundle"),
    (b'{"kind": "log capture bundle", "format": 2}', "format 2"),
    (b'{"kind": "log capture bundle", "format": 1}', "program"),
    (b'{"kind": "log capture bundle", "format": true}', "format"),
]


@pytest.mark.parametrize(("raw", "said"), BAD_JSON, ids=range(len(BAD_JSON)))
def test_manifests_that_are_none(forge, raw, said):
    """NaN, infinite and endless numbers, depth, keys twice, encodings, other formats."""
    path = forge(lambda files: files.update({MANIFEST: raw}), honest=False)
    assert said in refusal(path)


def test_a_bundle_without_a_manifest(forge):
    assert "no manifest" in refusal(forge(lambda files: files.pop(MANIFEST), honest=False))


def test_signatures_that_are_none(forge):
    """Another algorithm, other lengths, no text."""
    for raw, said in (
        (b'{"algorithm": "none"}', "kind"), (b"[]", "kind"),
        (b'{"algorithm": "Ed25519", "public_key": "00", "signature": "00"}', "is none"),
    ):  # fmt: skip
        assert said in refusal(forge(lambda files, raw=raw: files.update({"signature.json": raw})))


def test_a_million_captures(forge, own, tmp_path):
    """Refused by number, before any is looked at."""

    def change(files):
        plan = load(files[f"{own}/plan.json"], "")
        plan["captures"] = [plan["captures"][0]] * 1_000
        files[f"{own}/plan.json"] = dump(plan)

    result = check_bundle(forge(change, key=tmp_path))
    assert "has 1000 captures" in result["sentence"]

    def drown(files):
        files[f"{own}/plan.json"] = b'{"captures": [' + b'{"id": "x"},' * 999_999 + b'{"id": "x"}], "derivations": []}'

    assert "times its size" in refusal(forge(drown, key=tmp_path))


@pytest.mark.parametrize(
    "kind",
    [
        "os:system",
        "coach.server.__main__:x",
        "coach.cli:main",
        "coach.vehicle.gear:__import__",
        7,
        "coach.core.judge:Judge",
    ],
)
def test_a_plan_that_names_code_is_refused(forge, own, tmp_path, kind):
    """Nothing is imported because a bundle names it."""

    def change(files):
        plan = load(files[f"{own}/plan.json"], "")
        plan["derivations"][0]["kind"] = kind
        files[f"{own}/plan.json"] = dump(plan)

    result = check_bundle(forge(change, key=tmp_path))
    assert [p["code"] for p in result["problems"]] == ["unreadable"]
    said = "cannot be read" if kind == "coach.core.judge:Judge" else "none of the judge's"
    assert said in result["problems"][0]["message"]


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("captures", 0, "keep", 0, "low"), "NaN"), (("captures", 0, "keep", 0, "low"), "Infinity"),
        (("captures", 0, "hold_us"), -5), (("captures", 0, "hold_us"), 2**62), (("captures", 1, "sweep", "to"), 2200.0),
        (("captures", 1, "sweep", "dip"), "NaN"), (("captures", 0, "grace_us"), -(2**62)),
        (("captures", 0, "needs"), ["part-load"]), (("captures", 0, "id"), "pull"), (("facts",), {}),
        (("fresh_us",), {}),
        (("derivations", 0, "given", "ratios"), {"1": 0.0}), (("derivations", 0, "given", "ratios"), {}),
        (("captures", 0, "keep", 0, "signal"), "nothing"), (("captures", 1, "limits", 0, "high"), None),
        (("captures", 0, "stale_us"), {"road_speed": -1}), (("rules",), "one"), (("captures", 0, "hold_us"), None),
    ],
)  # fmt: skip
def test_plans_that_make_no_sense(forge, own, tmp_path, where, value):
    """A forged plan is judged by, or refused; it never ends in a traceback and never goes through as it is."""

    def change(files):
        plan = load(files[f"{own}/plan.json"], "")
        at = plan
        for key in where[:-1]:
            at = at[key]
        at[where[-1]] = value
        files[f"{own}/plan.json"] = dump(plan)

    result = check_bundle(forge(change, key=tmp_path))
    assert not result["ok"] or {w["code"] for w in result["warnings"]} & {"ways", "plan"}
    json.dumps(result, allow_nan=False)


def test_samples_that_are_none(forge, own, tmp_path):
    """Times that fall, that run over, too few bytes, too many."""

    def times(work):
        def change(files):
            raw = bytearray(files[f"{own}/samples.bin"])
            work(raw)
            files[f"{own}/samples.bin"] = bytes(raw)

        return forge(change, key=tmp_path)

    for work, said in (
        (lambda raw: struct.pack_into("<q", raw, 8, -5), "do not rise"),
        (lambda raw: struct.pack_into("<q", raw, 8, 0), "do not rise"),
        (lambda raw: struct.pack_into("<q", raw, 8, 2**63 - 1), "do not rise"),
        (lambda raw: struct.pack_into("<q", raw, 0, -1), "do not rise"),
        (lambda raw: raw.extend(bytes(16)), "too large"),
        (lambda raw: raw.__delitem__(slice(0, 16)), "as many samples"),
    ):
        assert said in check_bundle(times(work))["sentence"]


def test_limits_hold_in_a_process_of_its_own(forge, own, tmp_path):
    """A bundle at every limit is refused within 256 MB more than the program itself takes, and in seconds of one core.

    The limits are the system's own: past them the process would be ended and this test fail.
    """
    monster = tmp_path / "monster.zip"
    with monster.open("wb") as file, zipped.ZipWriter(file) as packed:
        block = random.Random(1).randbytes(1_000) * 64
        for n in range(40):
            packed.add(f"f{n}.bin", (block for _ in range(200)))
        packed.add(MANIFEST, [b"[" * 1_000_000])
    code = (
        "import resource, sys\n"
        "from coach.bundle.check import check_bundle\n"
        "from coach.errors import BundleError\n"
        "import coach.review.verdict, coach.vehicle\n"
        "used = int(open('/proc/self/statm').read().split()[0]) * resource.getpagesize()\n"
        "resource.setrlimit(resource.RLIMIT_AS, (used + 2**28, used + 2**28))\n"
        "resource.setrlimit(resource.RLIMIT_CPU, (20, 20))\n"
        "for name in sys.argv[1:]:\n"
        "    try:\n"
        "        print('checked', check_bundle(name)['ok'])\n"
        "    except BundleError as error:\n"
        "        print('refused', error)\n"
    )
    deep = forge(lambda files: files.update({f"{own}/verdict.json": b"[" * 3_000_000}), key=tmp_path)
    if not sys.platform.startswith("linux"):
        pytest.skip("the limits of this system are others")
    done = subprocess.run(
        [sys.executable, "-c", code, str(monster), str(deep)], capture_output=True, text=True, check=False, timeout=120,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert [line.split()[0] for line in lines] == ["refused", "refused"]


@pytest.fixture(scope="module")
def scratch(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


def checked_or_refused(path):
    """What the check found, JSON-able; None where the bundle was refused. Anything else is a fault."""
    try:
        result = check_bundle(path)
    except BundleError:
        return None
    json.dumps(result, allow_nan=False)
    return result


CHANGES = st.one_of(
    st.tuples(st.just("flip"), st.integers(0, 10**6), st.integers(1, 255)),
    st.tuples(st.just("cut"), st.integers(0, 10**6), st.just(0)),
    st.tuples(st.just("insert"), st.integers(0, 10**6), st.binary(min_size=1, max_size=12)),
    st.tuples(st.just("drop"), st.integers(0, 10**6), st.integers(1, 40)),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(changes=st.lists(CHANGES, min_size=1, max_size=4))
@example(changes=[("cut", 0, 0)])
@example(changes=[("flip", 8, 8), ("flip", 30, 1)])
def test_any_bytes_of_a_bundle_changed(good, scratch, changes):
    """Flipped, cut, inserted, dropped: always a sentence or a verdict that is judged, never anything else."""
    raw = bytearray(good.read_bytes())
    for kind, where, what in changes:
        at = where % max(1, len(raw))
        if kind == "flip" and raw:
            raw[at] ^= what
        elif kind == "cut":
            del raw[at:]
        elif kind == "insert":
            raw[at:at] = what
        elif raw:
            del raw[at : at + what]
    path = scratch / "b.zip"
    path.write_bytes(raw)
    if raw == good.read_bytes():
        return
    result = checked_or_refused(path)
    assert result is None or not result["ok"]
    assert sorted(p.name for p in scratch.iterdir()) == ["b.zip"]


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**62), 2**62)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(data=st.data(), value=JSON)
def test_any_value_in_any_of_its_files(good, scratch, data, value):
    """Valid zip, valid hashes, any JSON anywhere: told in a sentence, or checked; never a traceback."""
    with zipfile.ZipFile(good) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    name = data.draw(st.sampled_from(sorted(n for n in files if n.endswith(".json"))))
    content = load(files[name], "")
    at, key = content, None
    parent = None
    for _ in range(data.draw(st.integers(1, 7))):
        if not isinstance(at, (dict, list)) or not at:
            break
        parent, key = at, data.draw(st.sampled_from(sorted(at) if isinstance(at, dict) else range(len(at))))
        at = parent[key]
    parent[key] = value
    files[name] = dump(content)
    path = scratch / "b.zip"
    with path.open("wb") as file, zipped.ZipWriter(file) as out:
        for one, raw in files.items():
            out.add(one, [raw])
    checked_or_refused(path)


def test_opening_reads_no_samples(forge, own):
    """Opening is cheap: damaged samples are found when they are asked for."""
    opened = open_bundle(forge(lambda files: files.update({f"{own}/samples.bin": b"x"}), honest=False))
    assert opened.drives[0].title == "Part load and a pull"
    with pytest.raises(BundleError, match="as many samples"):
        opened.drives[0].recording()
