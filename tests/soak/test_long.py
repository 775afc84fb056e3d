"""A drive of hours, shortened: its figures are measured in a process of its own, on the same way as a real drive."""

from coach.soak.long import apart, drive


def test_a_short_long_drive_is_stored_whole(tmp_path):
    """150 samples a second, all of them; the windows saved; memory, file and opening measured."""
    made = apart(tmp_path / "data", 0.05)
    assert made.samples == 0.05 * 3600 * 150
    assert made.windows >= 2
    assert 20 < made.early_mb <= made.most_mb < 150
    assert made.end_mb - made.early_mb < 20
    assert made.file_mb > made.samples * 16 / 1e6
    assert made.open_s > 0


def test_it_can_run_here_too(tmp_path):
    """In this process its memory means nothing."""
    assert drive(tmp_path / "data", 0.01).samples == 0.01 * 3600 * 150
