"""What can go wrong in the shop, each as one clear line: what, allowed, got, where."""


class ShopError(Exception):
    """Root of every error that a user can cause; the command line prints it on one line and exits 2."""


class BadParam(ShopError, ValueError):
    """A number, name or option outside what is allowed."""


class BadFile(ShopError, ValueError):
    """A file that cannot be read as what it should be; the message begins with `file:line:` where a line is known."""


class BadFiles(BadFile):
    """A file with several faults, each a line of its own in `faults`."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


class Refused(ShopError, RuntimeError):
    """A command that is not possible now; the job is unchanged."""


class CannotWrite(ShopError, OSError):
    """An output that cannot be written, or is there already; nothing was written."""
