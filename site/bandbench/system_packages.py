"""Install a package by Debian's and Ubuntu's own means, where this process may."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

__all__ = ["install_with_apt", "superuser_prefix"]


def superuser_prefix() -> list[str] | None:
    """Return what to put before a command so that it runs as the superuser without asking anybody.

    Returns
    -------
    list[str] | None
        Nothing to add (already the superuser), ``sudo -n``, or None where neither works.
    """
    if os.geteuid() == 0:
        return []
    if shutil.which("sudo") and subprocess.run(["sudo", "-n", "true"], capture_output=True).returncode == 0:
        return ["sudo", "-n"]
    return None


def install_with_apt(*packages: str) -> str:
    """Install packages with apt-get.

    Parameters
    ----------
    *packages : str
        Package names.

    Returns
    -------
    str
        Empty if they are installed now; otherwise why not, in one line.
    """
    if shutil.which("apt-get") is None:
        return "this system has no apt-get"
    prefix = superuser_prefix()
    if prefix is None:
        return f"not allowed without a password; run: sudo apt-get install {' '.join(packages)}"
    # Asked through env, since sudo drops the caller's environment.
    apt_get = [*prefix, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get"]
    print(f"Installing {', '.join(packages)} with apt-get.", file=sys.stderr, flush=True)
    for arguments in (["update"], ["install", "--yes", "--no-install-recommends", *packages]):
        command = [*apt_get, *arguments]
        outcome = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        if outcome.returncode != 0:
            lines = outcome.stdout.strip().splitlines() or ["it printed nothing"]
            return f"apt-get {arguments[0]} failed: {lines[-1]}"
    return ""
