"""On what kind of disk a folder lies, held against what the system's own program says of it."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from studio import mounts

# Lines as in the kernel's own papers, Documentation/filesystems/proc.rst, section 3.5: the first
# is the example given there, the others have none and two of the fields that may be left out.
LINES = """\
36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue
37 35 0:40 / /srv/paper rw,relatime - nfs4 mill.example:/paper rw,vers=4.2
38 35 0:41 / /srv/with\\040space rw,relatime shared:1 master:2 - cifs //mill.example/paper rw
39 35 0:42 / /mnt/c rw,noatime - 9p drvfs rw
40 35 0:43 / /srv/far rw,relatime shared:7 - fuse.sshfs ida@mill.example:/paper rw
41 35 8:1 / /media/stick rw,relatime - fuseblk /dev/sdb1 rw
42 35 0:44 / /srv/list rw,relatime - fuse.lxcfs lxcfs rw
43 35 0:45 / /srv/share rw,relatime - smb3 //mill.example/paper rw
"""
KINDS = {
    "36": ("ext3", False),
    "37": ("nfs4", True),
    "38": ("cifs", True),
    "39": ("9p", True),
    "40": ("fuse.sshfs", True),
    "41": ("fuseblk", False),
    "42": ("fuse.lxcfs", False),
    "43": ("smb3", True),
    "99": ("", False),
}


@pytest.mark.parametrize(("number", "kind", "is_far"), [(n, *told) for n, told in KINDS.items()])
def test_kind_is_read_from_the_list_of_mounts(monkeypatch, tmp_path, number, kind, is_far):
    (tmp_path / "mountinfo").write_text(LINES)
    monkeypatch.setattr(mounts, "PROC", tmp_path)
    monkeypatch.setattr(mounts, "_mount_of", lambda folder: number)
    assert mounts.kind_of(tmp_path) == kind
    assert mounts.network_kind(tmp_path) == (kind if is_far else "")


@pytest.mark.skipif(not shutil.which("findmnt"), reason="findmnt of util-linux is not here")
def test_kind_is_what_the_system_says_it_is(tmp_path):
    asked = 0
    for folder in map(Path, ("/", "/proc", "/sys", "/dev", "/dev/shm", "/tmp", tmp_path)):
        said = subprocess.run(
            ["findmnt", "--noheadings", "--output", "FSTYPE", "--target", folder],
            capture_output=True,
            text=True,
            timeout=30,
            check=False,
        )
        # The last is the one on top, where several lie on one point.
        if said.returncode == 0 and said.stdout.split():
            assert mounts.kind_of(folder) == said.stdout.split()[-1], folder
            asked += 1
    assert asked > 1


@pytest.mark.parametrize("proc", ["nowhere", "empty"])
def test_nothing_is_said_where_the_system_does_not_tell(monkeypatch, tmp_path, proc):
    (tmp_path / "empty").mkdir()
    monkeypatch.setattr(mounts, "PROC", tmp_path / proc)
    assert mounts.kind_of(tmp_path) == ""
    assert mounts.network_kind(tmp_path) == ""


def test_nothing_is_said_of_a_folder_that_is_not_there(tmp_path):
    assert mounts.kind_of(tmp_path / "gone") == ""


def test_nothing_is_said_where_an_open_folder_has_no_mount(monkeypatch, tmp_path):
    class Silent(type(tmp_path)):
        def read_text(self, *args, **kwargs):
            return "pos:\t0\nflags:\t012000000\n"

    monkeypatch.setattr(mounts, "PROC", Silent("/proc/self"))
    assert mounts.kind_of(tmp_path) == ""
