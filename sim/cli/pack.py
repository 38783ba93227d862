"""`flatwright pack`: a job and its checkpoint in one file to mail."""

import argparse

NAME = "pack"
HELP = "Pack a job file and its checkpoint into one zip to mail; every command that takes a job takes it."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("job", metavar="JOB", help="a job file, NAME.job")
    parser.add_argument("--out", metavar="FILE", help="where to write the zip (default: NAME.zip beside the job)")
    parser.add_argument("--force", action="store_true", help="overwrite the zip if it is there")


def run(args: argparse.Namespace) -> int:
    """Open the job, pack it, say where it is."""
    import sys
    from pathlib import Path

    from sim.errors import BadParam, CannotWrite
    from sim.kernels.warm import warm
    from sim.shop.session import Session
    from sim.units import counted

    job = Path(args.job)
    out = Path(args.out) if args.out else job.with_name(job.name.removesuffix(".job") + ".zip")
    if out.absolute() == job.absolute():
        raise BadParam(f"--out must name another file than the job, got {out}")
    if out.exists() and not args.force:
        raise CannotWrite(f"{out}: is there already and is not overwritten without --force")
    warm()
    session = Session.load(job, copies_mb=0.0)
    session.pack(out, args.force)
    for note in session.notes:
        print(f"flatwright: {note}", file=sys.stderr)
    size_mb = out.stat().st_size / 1e6
    name = str(out).encode("utf-8", "replace").decode()
    done = f"{counted(len(session.commands), 'command')}, {counted(session.job.round, 'round')}"
    print(f"packed {done}: {name} ({size_mb:.1f} MB)")
    return 0
