"""A fresh database gets its tables at once, one that has some step by step: both end with the same."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from tests.plant.conftest import on_postgresql
from tests.plant.serving import ROOT, Server


def told(server: Server, order: str) -> Any:
    command = [sys.executable, "-m", "tests.plant.migrating", order]
    done = subprocess.run(command, cwd=ROOT, env=server.environ, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_step_by_step_or_at_once_the_tables_are_the_same(migrated: Server, tmp_path: Path) -> None:
    begun_before = Server(tmp_path)
    on_postgresql(f'CREATE DATABASE "{begun_before.database}"')
    try:
        step_by_step = told(begun_before, "long way")
    finally:
        on_postgresql(f'DROP DATABASE "{begun_before.database}" WITH (FORCE)')
    at_once = told(migrated, "as it is")

    assert len(at_once) > 300
    assert [one for one in step_by_step if one not in at_once] == []
    assert [one for one in at_once if one not in step_by_step] == []
