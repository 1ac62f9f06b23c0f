import stat

import pytest

from studio import secret

GOOD = "correct-horse-but-longer-than-that-0123456789-abcdefghij"


def test_first_run_keeps_a_key_that_no_other_account_reads(tmp_path):
    key = secret.signing_key("", tmp_path / "new")
    file = tmp_path / "new" / "secret_key"
    assert file.read_text() == key
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_second_run_reads_the_key_of_the_first(tmp_path):
    assert secret.signing_key("", tmp_path) == secret.signing_key("", tmp_path)


def test_two_set_ups_have_two_keys(tmp_path):
    assert secret.signing_key("", tmp_path / "a") != secret.signing_key("", tmp_path / "b")


def test_key_of_the_environment_wins_and_makes_no_file(tmp_path):
    assert secret.signing_key(GOOD, tmp_path) == GOOD
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "key",
    ["short", "x" * 80, "abab" * 20, "django-insecure-" + GOOD, GOOD[:49]],
    ids=["short", "one letter", "two letters", "known", "one too few"],
)
def test_key_that_is_easy_to_guess_is_refused(tmp_path, key):
    with pytest.raises(SystemExit, match="HALFSTUFF_SECRET_KEY is too easy to guess"):
        secret.signing_key(key, tmp_path)


def test_emptied_key_file_is_refused_by_its_name(tmp_path):
    (tmp_path / "secret_key").write_text("")
    with pytest.raises(SystemExit, match="secret_key is too easy to guess"):
        secret.signing_key("", tmp_path)


def test_of_two_first_runs_the_later_reads_what_the_earlier_wrote(tmp_path, monkeypatch):
    def beaten(path, *args):
        path.write_text(GOOD)
        raise FileExistsError

    monkeypatch.setattr(secret.os, "open", beaten)
    assert secret.signing_key("", tmp_path) == GOOD


def test_a_worker_waits_for_the_key_that_another_has_made_and_not_yet_written(
    tmp_path, monkeypatch
):
    file = tmp_path / "secret_key"
    file.write_text("")
    monkeypatch.setattr(secret.time, "sleep", lambda seconds: file.write_text(GOOD))
    assert secret.signing_key("", tmp_path) == GOOD
