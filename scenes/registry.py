"""Every command by name: where its folder is and what it answers, in the order of a day's work. No imports of theirs."""

from __future__ import annotations

COMMANDS = {
    "demo": ("scenes.commands.demo", "Check the built-in show and leave a folder to look at."),
    "check": ("scenes.questions.check.command", "Say whether the box darkens the frame: where, how much, which part."),
    "beam": ("scenes.questions.beam.command", "Size of the beam in a plane of the box, over the parts that stand there."),
    "masks": ("scenes.questions.masks.command", "The tightest mask for each lens, the best set of masks, and files to cut."),
    "filters": ("scenes.questions.filters.command", "Which filter size each stage needs, and what filters do to the corners."),
    "design": ("scenes.questions.design.command", "Find the smallest box that is clear with every lens, and say what holds it."),
    "flags": ("scenes.questions.flags.command", "Say how far in each flag may come, and how far it must to cut a light."),
    "builds": (
        "scenes.questions.builds.command",
        "Say how sure a clear frame is when dimensions are off: share of builds, worst build.",
    ),
    "widest": (
        "scenes.questions.widest.command",
        "The widest lens that clears the box, with and without mask, flags, an extra stage.",
    ),
    "bokeh": ("scenes.questions.bokeh.command", "Show how the box bites into out-of-focus highlights."),
    "ghosts": ("scenes.questions.ghosts.command", "Say where lights ghost in the filters, and which tilt helps."),
    "sun": ("scenes.questions.sun.command", "Say when through a day the sun is in the picture and on the glass."),
    "leaks": ("scenes.questions.leaks.command", "Where stray light gets in, how much, and what closes it."),
    "compare": ("scenes.questions.compare.command", "Lay test-shoot stills over the prediction; fit what was not measured."),
    "verify": ("scenes.commands.verify", "Say whether the proofs that check --prove left hold."),
    "view": ("scenes.commands.view", "Look at a state in 3D, in a window or as a picture."),
    "new": ("scenes.commands.new", "Write a commented scene file to start from."),
    "lens": ("scenes.commands.lens", "Turn lens metadata or measures into a [[lens]] for a scene."),
    "list": ("scenes.commands.list", "List camera formats, filter sizes or rods."),
    "schema": ("scenes.commands.schema", "Print the JSON Schema of scene files, for editors."),
}
# Commands that rest on compiled code.
COMPILED = frozenset({"demo", "check", "masks", "filters", "flags", "builds", "widest", "bokeh", "compare", "view", "design"})


def questions() -> tuple[str, ...]:
    """Names of the commands that answer a question about a scene."""
    return tuple(name for name, (module, _) in COMMANDS.items() if module.startswith("scenes.questions."))
