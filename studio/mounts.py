"""What kind of disk a folder lies on, where the system tells (Linux); nothing elsewhere."""

from __future__ import annotations

import os
from pathlib import Path

PROC = Path("/proc/self")
# Drives of other machines, as Linux names them; from memory.
NETWORK = {
    "9p", "afs", "beegfs", "ceph", "cifs", "coda", "davfs", "gfs2", "glusterfs", "gpfs", "lustre",
    "ncpfs", "nfs", "nfs4", "ocfs2", "orangefs", "smb3", "smbfs", "vboxsf",
}  # fmt: skip
# Programs that stand in for a drive; Linux writes them as "fuse." and their name.
STANDING_IN = {
    "ceph", "ceph-fuse", "davfs", "glusterfs", "gvfsd-fuse", "rclone", "s3fs", "smbnetfs", "sshfs",
    "vmhgfs-fuse",
}  # fmt: skip


def network_kind(folder: Path) -> str:
    """Return the kind of network drive a folder lies on; nothing where it lies on none."""
    kind = kind_of(folder)
    program = kind.removeprefix("fuse.")
    return kind if kind in NETWORK or (program != kind and program in STANDING_IN) else ""


def kind_of(folder: Path) -> str:
    """Return the kind of file system under a folder; nothing where the system does not tell."""
    try:
        number = _mount_of(folder)
        lines = (PROC / "mountinfo").read_text("utf-8", "replace").splitlines()
    except (OSError, ValueError):
        return ""
    for line in lines:
        before, parted, after = line.partition(" - ")
        if parted and before.split(" ", 1)[0] == number:
            return after.split(" ", 1)[0]
    return ""


def _mount_of(folder: Path) -> str:
    """Return the number under which a folder's mount is listed.

    The system is asked by an open handle: a path would have to be held against every mount
    point, of which one may hide another.
    """
    handle = os.open(folder, getattr(os, "O_PATH", os.O_RDONLY))
    try:
        told = (PROC / "fdinfo" / str(handle)).read_text()
    finally:
        os.close(handle)
    for line in told.splitlines():
        name, _, value = line.partition(":")
        if name == "mnt_id":
            return value.strip()
    raise ValueError(folder)
