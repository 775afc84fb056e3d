"""`coach bundle` and `coach key`: what they print, and how they end."""

from __future__ import annotations

import json
import stat
from pathlib import Path

import jsonschema_rs
import pytest
from click.testing import CliRunner

from coach.bundle import child
from coach.bundle.child import check_in_child, make_in_child
from coach.bundle.keys import fingerprint, own_public_key
from coach.bundle.wanted import Wanted
from coach.cli.cmd_bundle import bundle, check_text
from coach.cli.cmd_key import key
from coach.errors import BadInput, BundleError, CoachError, NotFound
from tests.bundle.making import RECIPE


def run(command, *words):
    return CliRunner().invoke(command, [str(w) for w in words], standalone_mode=False)


def said(result) -> str:
    """The sentence of a command that ended with an error."""
    assert isinstance(result.exception, CoachError), result.output
    return str(result.exception)


def test_make_lists_what_is_inside(stored, tmp_path, monkeypatch):
    """The last drive without a name; what is inside is said before anything is sent."""
    monkeypatch.chdir(tmp_path)
    result = run(bundle, "make", "--data", stored[0])
    assert result.exit_code == 0, result.output
    assert "1 window that qualified, with 10 s before and 10 s after" in result.output
    assert "1 attempt that did not, with the reason for each" in result.output
    assert "Vehicle number: *************4821" in result.output
    assert "No position" in result.output
    assert stat.S_IMODE((tmp_path / f"{stored[1]}.zip").stat().st_mode) == 0o600
    result = run(bundle, "make", stored[1], "--data", stored[0], "-o", "b.zip", "--whole", "--full-vin", "--json")
    made = json.loads(result.output)
    assert made["contents"][0]["vin"].endswith("4821")
    assert any(f["path"].endswith("drive.wide.csv") for f in made["files"])
    text = run(bundle, "make", stored[1], "--data", stored[0], "-o", "b.zip", "--whole", "--full-vin").output
    assert "1 other signal, and the whole drive as tables" in text
    assert "(whole)" in text


def test_make_without_a_drive(tmp_path):
    from coach.clock import HandClock
    from coach.store import Store

    assert "no data here" in said(run(bundle, "make", "--data", tmp_path / "none"))
    Store(tmp_path / "data", HandClock()).close()
    assert "no finished drive" in said(run(bundle, "make", "--data", tmp_path / "data"))


def test_check_says_the_verdict_and_ends_with_0(in_place, good, stored, tmp_path):
    """With the customer's key pinned it says whose it is."""
    result = run(bundle, "check", good, "--data", tmp_path)
    assert result.return_value == 0, result.output
    assert result.output.startswith("Same verdict")
    assert "+ Steady part load (part-load): 1 of 1" in result.output
    assert "- A pull (pull): 0 of 1" in result.output
    assert "is not pinned" in result.output
    exported = tmp_path / "k.pem"
    assert run(key, "export", "--data", stored[0], "-o", exported).exit_code == 0
    assert run(key, "pin", exported, "--name", "Red one", "--data", tmp_path).exit_code == 0
    recipe = tmp_path / "r.toml"
    recipe.write_text(RECIPE)
    result = run(bundle, "check", good, "--data", tmp_path, "--from", "red one", "--recipe", recipe, "--json")
    assert result.exit_code == 0
    assert json.loads(result.output)["signed_by"]["name"] == "Red one"
    assert "no key is pinned" in said(run(bundle, "check", good, "--data", tmp_path, "--from", "Blue one"))


def test_check_ends_with_1_for_what_was_changed(in_place, forge, own, tmp_path):
    def change(files):
        files[f"{own}/verdict.json"] = files[f"{own}/verdict.json"].replace(b'"qualified": 0', b'"qualified": 1')

    path = forge(change, honest=False)
    result = run(bundle, "check", path, "--data", tmp_path)
    assert result.return_value == 1
    assert "Another verdict. Capture 'pull', qualified: it says 1, the samples give 0." in result.output
    assert f"Problem: {own}/verdict.json" in result.output


def test_check_refuses_what_is_no_bundle(in_place, tmp_path):
    (tmp_path / "x.zip").write_bytes(b"hello")
    assert "no bundle" in said(run(bundle, "check", tmp_path / "x.zip", "--data", tmp_path))
    assert "No such file" in said(run(bundle, "check", tmp_path / "y.zip", "--data", tmp_path))


def test_problems_past_the_list_are_counted():
    result = {
        "sentence": "S.", "signed_by": None, "drives": [], "warnings": [], "more": 7,
        "problems": [{"where": None, "message": "m"}],
    }  # fmt: skip
    assert check_text(result) == "S.\nProblem: m\nProblem: and 7 more.\n"


def test_a_folder_that_is_not_there_is_not_called_the_data_folder(tmp_path, stored):
    folder, drive = stored
    told = run(bundle, "make", drive, "--data", folder, "-o", tmp_path / "no" / "x.zip")
    assert "the bundle cannot be written: No such file" in said(told)
    assert "data folder" not in said(told)
    assert said(run(bundle, "make", drive, "--data", folder, "-o", "")) == ".: this is no name of a file"
    assert said(run(key, "export", "--data", folder, "-o", "")) == ".: this is no name of a file"


def test_the_schema_is_a_schema():
    schema = json.loads(run(bundle, "schema").output)
    jsonschema_rs.meta.validate(schema)
    assert "drives" in schema["properties"]


def test_key_show_export_pin_unpin(tmp_path, good, stored):
    data = tmp_path / "data"
    shown = run(key, "show", "--data", data)
    assert run(key, "show", "--data", data).output == shown.output
    told = json.loads(run(key, "show", "--data", data, "--json").output)
    assert shown.output.startswith(told["fingerprint"])
    assert told["public_key"] == own_public_key(data)
    assert "BEGIN PUBLIC KEY" in run(key, "export", "--data", data).output
    told = run(key, "export", "--data", data, "-o", tmp_path / "no" / "k.pem")
    assert "the file cannot be written: No such file" in said(told)
    assert run(key, "pins", "--data", data).output == "No key is pinned.\n"
    assert run(key, "pin", good, "--name", "Red one", "--data", data).exit_code == 0
    listed = json.loads(run(key, "pins", "--data", data, "--json").output)["pins"]
    public = own_public_key(stored[0])
    assert listed == [{"name": "Red one", "fingerprint": fingerprint(public), "public_key": public}]
    assert "Red one" in run(key, "pins", "--data", data).output
    assert "Forgotten" in run(key, "unpin", "red one", "--data", data).output
    assert isinstance(run(key, "unpin", "red one", "--data", data).exception, NotFound)
    assert isinstance(run(key, "pin", tmp_path / "none.pem", "--name", "x", "--data", data).exception, BadInput)


def test_a_key_is_not_taken_from_a_bundle_that_was_changed(forge, tmp_path):
    path = forge(lambda files: files.update({"README.txt": b"x"}))
    assert "no key in it to trust" in said(run(key, "pin", path, "--name", "x", "--data", tmp_path))


def test_the_users_own_folder(tmp_path, monkeypatch):
    """Without --data it is where the server keeps its drives."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    from coach.store.folder import default_folder

    assert run(key, "show").exit_code == 0
    assert Path(default_folder() / "key.pem").is_file()


def test_the_child_makes_and_checks(stored, tmp_path, good):
    """And errors come out of it as they were raised in it."""
    made = make_in_child(stored[0], [stored[1]], tmp_path / "b.zip", Wanted())
    assert (tmp_path / "b.zip").read_bytes() == good.read_bytes()
    assert check_in_child(tmp_path / "b.zip")["sha256"] == made["sha256"]


def test_an_error_in_the_child_comes_out_as_it_was_raised(stored, tmp_path):
    with pytest.raises(NotFound, match="no such drive"):
        make_in_child(stored[0], ["20000101-000000"], tmp_path / "c.zip", Wanted())


def test_a_child_past_its_limits_is_one_sentence(good, monkeypatch, caplog):
    """Of memory, of time, or when it dies."""
    with pytest.raises(BundleError, match=r"memory|given up"):
        check_in_child(good, memory=30 * 2**20)
    with pytest.raises(BundleError, match="longer than any drive"):
        check_in_child(good, seconds=0.01)
    monkeypatch.setattr(child.sys, "executable", "/bin/false")
    with pytest.raises(BundleError, match="given up"):
        check_in_child(good)


def test_the_childs_own_end(monkeypatch, capsys, good):
    """What it prints for each request, errors and want of memory included."""
    import io

    def answer(**ask):
        request = {"do": "check", "path": str(good), "pins": [], "signer": None, "recipe": None}
        request |= {"seconds": 9, "memory": 1}
        monkeypatch.setattr(child, "limit", lambda *_: None)
        monkeypatch.setattr(child.sys, "stdin", io.TextIOWrapper(io.BytesIO(json.dumps({**request, **ask}).encode())))
        child.main()
        return json.loads(capsys.readouterr().out)

    assert answer(recipe=RECIPE.encode().hex())["ok"]
    assert answer(path="/none.zip")["error"]["kind"] == "BundleError"
    wanted = {"whole": True, "full_vin": False}
    assert answer(do="make", folder="/none", drives=[], wanted=wanted)["error"]["kind"] == "BadInput"

    def full(_):
        raise MemoryError

    monkeypatch.setattr(child, "_check", full)
    assert "memory" in answer()["error"]["message"]
