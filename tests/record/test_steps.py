"""The steps of the record's tables are those of Alembic, which is loaded to take one only."""

from collections.abc import Callable
from pathlib import Path
from subprocess import Popen

from alembic.script import ScriptDirectory

from daemon.record import migrations, steps


def test_the_steps_are_those_that_alembic_goes_through() -> None:
    (folder,) = migrations.__path__
    walked = [script.revision for script in ScriptDirectory(folder).walk_revisions()]
    assert steps.known_steps() == walked[::-1]
    assert steps.newest_step() == walked[0]


def test_a_record_that_is_up_to_date_is_opened_without_alembic(
    path: Path, child: Callable[..., Popen[str]]
) -> None:
    program = """
        import sys
        from pathlib import Path
        from daemon.record.store import open_reader, open_writer
        for opens in (open_writer, open_reader):
            opens(Path(sys.argv[1])).dispose()
        sys.exit("alembic" in sys.modules)
        """
    # One that is not there yet has all steps to take.
    assert child(program, path).wait() == 1
    assert child(program, path).wait() == 0
