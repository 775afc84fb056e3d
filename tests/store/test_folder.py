"""Where drives are kept when nobody says where."""

from pathlib import Path

from coach.store.folder import default_folder


def test_the_data_folder_is_where_the_system_keeps_such_things(monkeypatch, tmp_path):
    """Each system has its own place."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "xdg"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "local"))
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    for system, parent in (("linux", "xdg"), ("win32", "local"), ("darwin", "Library/Application Support")):
        monkeypatch.setattr("coach.store.folder.sys.platform", system)
        assert default_folder() == tmp_path / parent / "log-capture-coach"
