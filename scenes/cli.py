"""The command `brimline`: finds a command's module, runs it, turns errors into sentences and an exit status. No heavy imports."""

from __future__ import annotations

import atexit
import os
import signal
import subprocess
import sys
import threading
import time
import traceback
import weakref
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import FrameType
from typing import Any

import click

from scenes.answers.opened import DOUBTED
from scenes.io.folders.undisturbed import placed
from scenes.registry import COMMANDS, COMPILED, EXAMPLES, GROUPS, own_name
from scenes.runtime.blas import hold_to_one_thread
from scenes.runtime.garbage import look_seldom
from scenes.runtime.terminal import hush_libraries, visible_streams
from scenes.runtime.version import own_version

# What each command is for stands here, so that --help needs none of their modules. Each module holds a click command `command`.
HELP = ["-h", "--help"]
ABOUT = """Say what the matte box in front of a lens does to the picture, before the test shoot.

\b
brimline new my-show.toml      a scene to change into yours
brimline check my-show.toml    does the box darken any frame?
brimline check --help          what else it can do, with examples

Exit status: 0 all clear, 1 a part darkens the frame or the box has a fault, 2 the input is at fault.
"""  # \b: the lines after it are kept as they stand
CLEAR, IN_FRAME, BAD_INPUT, BROKEN, INTERRUPTED = 0, 1, 2, 70, 130  # 70: EX_SOFTWARE of sysexits.h; 130: 128 + SIGINT
TRACEBACK = "BRIMLINE_TRACEBACK"
ALARM = getattr(signal, "SIGALRM", None)  # not on Windows
LOADER, COMPILER = "<frozen importlib._bootstrap>", f"{os.sep}llvmlite{os.sep}"
AGAIN_S, SWALLOWED_S = 0.05, 0.5  # when to ask again: where it would be lost now, and where it may have been
HELD_UP_S, CLEARED_S = 3.0, 20.0  # how long a stopped run may wait for others that do not end, and clear up by itself
STRAYS_S = 1.0  # how long threads may then work on
WAITS = (threading.__file__, subprocess.__file__, f"{os.sep}concurrent{os.sep}futures{os.sep}")  # where one waits for others
NO_MEMORY = ("Cannot allocate memory", "failed to map segment")  # what the system says where a library or a process finds none


class Commands(click.Group):
    """A group whose commands are imported when they are called, not when they are listed."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Names of the commands, in the order of a day's work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - click's signature
        """The command of that name, imported now."""
        name = own_name(cmd_name)
        if name not in COMMANDS:
            return None
        command = import_module(COMMANDS[name][0]).command
        assert isinstance(command, click.Command)
        command.epilog = examples_text(name)
        return command

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that the words call; a misspelt one is told with the nearest that there is."""
        from scenes.runtime.first_run import begin_early
        from scenes.scene_file.messages import did_you_mean

        if not ctx.resilient_parsing and args and own_name(args[0]) in COMPILED and not set(HELP) & set(args):
            begin_early()
        if args and not args[0].startswith("-") and own_name(args[0]) not in self.list_commands(ctx):
            ctx.fail(f'There is no command "{args[0]}"; {did_you_mean(args[0], self.list_commands(ctx))}')
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - click's signature
        """The commands in --help, in groups."""
        wide = max(map(len, COMMANDS))
        for group, names in grouped().items():
            with formatter.section(group):
                formatter.write_dl([(f"{name:{wide}}", COMMANDS[name][1]) for name in names])


def grouped() -> dict[str, list[str]]:
    """Names of the commands by group; those of no group come last."""
    groups = {group: [name for name in names if name in COMMANDS] for group, names in GROUPS.items()}
    rest = [name for name in COMMANDS if not any(name in names for names in groups.values())]
    return {group: names for group, names in {**groups, "More": rest}.items() if names}


def examples_text(name: str) -> str:
    """What people type, for the end of a command's --help; empty where nothing is known."""
    lines = [f"  brimline {typed}\n      {words}" for typed, words in EXAMPLES.get(name, ())]
    return "\n".join(["\b", "Examples:", *lines]) if lines else ""


@click.group(cls=Commands, help=ABOUT, context_settings={"help_option_names": HELP, "max_content_width": 100})
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=lambda ctx, _, on: _say_version(ctx, on),
    help="Print the version.",
)
def brimline() -> None:
    """Say what the matte box in front of a lens does to the picture; ABOUT is what --help says."""


@brimline.result_callback()
def _status(status: int | None, **_options: object) -> int:
    """The command's status; never 0 where numbers of its scene speak against each other."""
    doubted = click.get_current_context().meta.get(DOUBTED, False)
    return max(status or CLEAR, IN_FRAME) if doubted else status or CLEAR


def _say_version(ctx: click.Context, on: bool) -> None:
    if on:
        click.echo(f"brimline {own_version()}")
        ctx.exit(CLEAR)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; the exit status comes back. No exception gets past: a fault of the program itself is one sentence too."""
    before = set(threading.enumerate())
    hold_to_one_thread()
    look_seldom()
    hush_libraries()
    with visible_streams():
        foreign = foreign_package()
        status = _complain([foreign]) if foreign else _run(argv)
    if status == INTERRUPTED:
        _end_without(before)
    return status


def _end_without(before: set[threading.Thread]) -> None:
    """End the process where threads that the run began work on: Python would wait for them, and one may have no end."""
    try:
        strays = [one for one in threading.enumerate() if one not in before and not one.daemon]
        for stray in strays:
            stray.join(STRAYS_S / len(strays))
        if not any(stray.is_alive() for stray in strays):
            return
        atexit._run_exitfuncs()  # processes begun early and folders of our own go, as they would at Python's end
    except KeyboardInterrupt:  # asked once more
        pass
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    os._exit(INTERRUPTED)


def foreign_package() -> str:
    """A sentence where one of the program's own packages would be taken from somebody else's folder; else empty."""
    home = Path(__file__).resolve().parents[1]
    for name in ("geometry", "raytrace"):
        spec = find_spec(name)
        place = None if spec is None else spec.origin or next(iter(spec.submodule_search_locations or ()), None)
        if place is not None and not Path(place).resolve().is_relative_to(home / name):
            return (
                f'{place}: is another "{name}", which Python finds before the one of this program in {home}; '
                "take its folder off PYTHONPATH, rename it, or run brimline from another folder"
            )
    return ""


@dataclass(slots=True)
class _Patience:
    """Since when, on the clock that never goes back, a run that was asked to stop has had time to clear up."""

    since_s: float = 0.0

    def begin(self) -> None:
        self.since_s = time.monotonic()

    def is_over(self, frame: FrameType | None) -> bool:
        """Whether it has lasted long enough: shorter where what is at work only waits, for a thread that may have no end."""
        waits = frame is not None and any(place in frame.f_code.co_filename for place in WAITS)
        return time.monotonic() - self.since_s > (HELD_UP_S if waits else CLEARED_S)


_asked_to_stop, _has_ended, _patience = threading.Event(), threading.Event(), _Patience()


def _run(argv: Sequence[str] | None) -> int:
    placed.clear()
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT, ALARM) if number is not None}
    try:
        return _answered(argv)
    except KeyboardInterrupt:  # once more, while it said how it ended
        return INTERRUPTED
    finally:
        _handle_as(before)


def _answered(argv: Sequence[str] | None) -> int:
    try:
        _end_as_by_ctrl_c()
        status = brimline.main(None if argv is None else list(argv), prog_name="brimline", standalone_mode=False)
        sys.stdout.flush()
        return status if isinstance(status, int) else CLEAR
    except click.exceptions.NoArgsIsHelpError as bare:  # nothing asked for: nothing is wrong
        click.echo(bare.format_message())
        return CLEAR
    except click.ClickException as error:
        return _complain([_click_words(error)])
    except (KeyboardInterrupt, click.Abort):
        return _stopped()
    except BrokenPipeError:  # the reader of our output went away, as `head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return CLEAR
    except Exception as error:  # noqa: BLE001 - people get a sentence, whatever it is
        return _stopped() if _asked_to_stop.is_set() else _known_trouble(error)


def _handle_as(handlers: Mapping[signal.Signals, Any]) -> None:
    """Give signals their earlier handlers back: one that comes while Python ends must not print where that was."""
    if threading.current_thread() is threading.main_thread():
        _has_ended.set()
        if ALARM is not None and signal.getsignal(ALARM) is _stop:
            signal.setitimer(signal.ITIMER_REAL, 0.0)
        for number, handler in handlers.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)


def _stopped() -> int:
    what = f"the new result is in {placed[-1]} already, whole" if placed else "nothing was left half written"
    click.echo(f"\nstopped; {what}", err=True)
    return INTERRUPTED


def _end_as_by_ctrl_c() -> None:
    """Have a request to end, as schedulers and `timeout` send it, clean up as Ctrl-C does."""
    _has_ended.clear()
    _asked_to_stop.clear()
    if threading.current_thread() is threading.main_thread():  # elsewhere Python forbids it
        signal.signal(signal.SIGTERM, _stop)
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # not where it is to be ignored, as in the background
            signal.signal(signal.SIGINT, _stop)


def _stop(number: int, frame: FrameType | None) -> None:
    """Interrupt the run, but no library while it is loaded, nor the compiler: either may catch it and go on.

    An alarm asks again until the run ends, for whatever else may swallow the interruption; it does not disturb the clearing up,
    unless that takes too long, as where it waits for a thread without an end.
    """
    if _has_ended.is_set():  # handlers are being put back: there is nothing left to stop
        return
    if not _asked_to_stop.is_set():
        _patience.begin()
    _asked_to_stop.set()
    if ALARM is not None:
        waits = _would_be_lost(frame)
        signal.signal(ALARM, _stop)
        signal.setitimer(signal.ITIMER_REAL, AGAIN_S if waits else SWALLOWED_S)
        if waits or (number == ALARM and _is_ending(sys.exc_info()[1])):
            if not _patience.is_over(frame):
                return
            _patience.begin()  # what is cleared up next has time of its own
    raise KeyboardInterrupt


def _is_ending(handled: BaseException | None) -> bool:
    """Whether an interruption is what is being handled: files are put back, processes ended."""
    while handled is not None:
        if isinstance(handled, KeyboardInterrupt):
            return True
        handled = handled.__context__
    return False


def _would_be_lost(frame: FrameType | None) -> bool:
    """Whether an interruption here may be swallowed: by a library that is being loaded, or where C calls back.

    The compiler does, and Python itself when it takes an object away, in __del__ or where a weak reference to it tells so.
    """
    while frame is not None:
        place = frame.f_code.co_filename
        if place in {LOADER, weakref.__file__} or COMPILER in place or frame.f_code.co_name == "__del__":
            return True
        frame = frame.f_back
    return False


def _click_words(error: click.ClickException) -> str:
    words = " ".join(error.format_message().split())
    context = getattr(error, "ctx", None)
    return f"{words} See `{context.command_path} --help`." if context is not None else words


def _known_trouble(error: Exception) -> int:
    """Sentences for what people can mend; what they can't is a fault of the program, and said to be one."""
    from geometry.errors import GeometryError
    from scenes.scene_file.errors import SceneError

    if isinstance(error, SceneError):
        return _complain([str(complaint) for complaint in error.complaints])
    if isinstance(error, GeometryError):
        return _complain([str(error)])
    if isinstance(error, MemoryError) or any(words in str(error) for words in NO_MEMORY):
        return _complain(["not enough memory; ask for smaller maps with --pixels, such as --pixels 1024"])
    if isinstance(error, OSError):
        return _complain([f"{error.filename or 'file'}: {error.strerror or error}"])
    return _program_fault(error)


def _program_fault(error: Exception) -> int:
    """One sentence that asks for a report; the traceback only where an environment variable asks for it."""
    if os.environ.get(TRACEBACK):
        traceback.print_exception(error)
    what = " ".join(f"{type(error).__name__}: {error}".split())
    words = f"this is a fault of the program, not of your input ({what}); please report it, with the scene file and this command"
    click.echo(f"error: {words}; {TRACEBACK}=1 in the environment shows where it happened", err=True)
    return BROKEN


def _complain(sentences: Sequence[str]) -> int:
    for sentence in sentences:
        click.echo(f"error: {sentence}", err=True)
    return BAD_INPUT


if __name__ == "__main__":
    sys.exit(main())
