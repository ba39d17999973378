"""Every command by name: where its folder is and what it answers, in the order of a day's work. No imports of theirs."""

from __future__ import annotations

COMMANDS = {
    "demo": ("scenes.commands.demo", "Check the built-in show and leave a folder to look at."),
    "check": ("scenes.questions.check.command", "Say whether the box darkens the frame: where, how much, which part."),
    "beam": ("scenes.questions.beam.command", "Size of the beam in a plane of the box, over the parts that stand there."),
    "masks": ("scenes.questions.masks.command", "The tightest mask for each lens, the best set of masks, and files to cut."),
    "filters": ("scenes.questions.filters.command", "Which filter size each stage needs, and what filters do to the corners."),
    "design": ("scenes.questions.design.command", "Find the smallest box that is clear with every lens, and say what holds it."),
    "make": ("scenes.questions.make.command", "Write the workshop's folder: solids, flats, drawings, lists, weights."),
    "flags": ("scenes.questions.flags.command", "Say how far in each flag may come, and how far it must to cut a light."),
    "tolerances": (
        "scenes.questions.tolerances.command",
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
    "plan": ("scenes.questions.plan.command", "Plan the test shoot: what to measure, fit and shoot, and what to expect."),
    "compare": ("scenes.questions.compare.command", "Lay test-shoot stills over the prediction; fit what was not measured."),
    "verify": ("scenes.commands.verify", "Say whether the proofs that check --prove left hold."),
    "view": ("scenes.commands.view", "Look at a state in 3D, in a window or as a picture."),
    "new": ("scenes.commands.new", "Write a commented scene file to start from."),
    "lens": ("scenes.commands.lens", "Turn lens metadata or measures into a [[lens]] for a scene."),
    "list": ("scenes.commands.list", "List camera formats, filter sizes, rods, materials, or words used here."),
    "schema": ("scenes.commands.schema", "Print the JSON Schema of scene files, for editors."),
}
# Earlier names of commands: not listed, and they work as ever.
ALIASES = {"builds": "tolerances"}
# Commands that rest on compiled code.
COMPILED = frozenset(
    {"demo", "check", "masks", "filters", "flags", "tolerances", "widest", "bokeh", "compare", "plan", "view", "design", "make"}
)
# Commands as --help lists them: what a crew or a builder is about to do. A name that is no command yet is passed over.
GROUPS = {
    "Start": ("demo", "new", "check", "view"),
    "Engineer a box": ("design", "beam", "masks", "filters", "widest", "tolerances", "make"),
    "Check flags, leaks and reflections": ("flags", "leaks", "ghosts", "sun", "bokeh"),
    "Plan the shoot and compare with it": ("plan", "compare"),
    "Files and lists": ("lens", "list", "schema", "verify"),
}
# At the end of each command's --help: what people type, and what for. my-show.toml is the scene that `brimline new` writes.
EXAMPLES = {
    "demo": (("demo", "two invented shows into the folder demo-out"), ("demo --no-3d --pixels 256", "the same, quicker")),
    "check": (
        ("check my-show.toml --out my-show", "every lens, focus and stop, with maps and pictures"),
        ("check my-show.toml --lens 25 --focus close", "is my 25 clear at its closest focus?"),
        ("check my-show.toml -q", "the answer in one line"),
    ),
    "view": (
        ("view my-show.toml --lens 25 --focus close", "the box in a window"),
        ("view my-show.toml --from section -o cut.png", "cut open, as a picture"),
    ),
    "design": (("design my-box.toml --out designs", "the smallest box that is clear with every lens, as its [design] asks"),),
    "plan": (("plan my-show.toml --out plan", "what do I shoot first?"),),
    "beam": (("beam my-show.toml --at 46", "its size 46 mm ahead of the back plate's rear face"),),
    "masks": (
        ("masks my-show.toml --out masks", "what do I cut?"),
        ("masks my-show.toml --masks 2", "the best two masks for the whole set"),
    ),
    "filters": (
        ("filters my-show.toml", "which filter size does each stage need?"),
        ("filters my-show.toml --close-up 2", "and with a +2 close-up lens"),
    ),
    "widest": (("widest my-show.toml", "the widest lens that clears this box"),),
    "tolerances": (("tolerances my-show.toml --builds 400", "how sure is clear, within the scene's tolerances?"),),
    "make": (
        ("make my-show.toml --out workshop", "everything to build this box from"),
        ("make designs/design-1.toml --out workshop", "the same for a box that design found"),
    ),
    "flags": (
        ("flags my-show.toml --lens 25", "how far may the top flag come in?"),
        ("flags my-show.toml --changes", "and what would cut the lights that no flag can reach"),
    ),
    "leaks": (("leaks my-show.toml --lens 25 --out leaks", "where does stray light get in?"),),
    "ghosts": (("ghosts my-show.toml --grid", "reflections in the filters, of lights all over the picture"),),
    "sun": (("sun my-show.toml --date 2027-03-21", "when is the sun on the glass that day? For a light with sun = { ... }"),),
    "bokeh": (("bokeh my-show.toml --lens 25 --ahead infinity", "is a highlight far away whole?"),),
    "compare": (("compare my-show.toml --shoot shoot.toml --out compared", "were the test stills as predicted?"),),
    "verify": (("verify my-show.toml my-show", "the proofs that check --prove left in my-show"),),
    "new": (
        ("new my-show.toml", "a scene to change into yours"),
        ("new my-box.toml --design", "five lenses, an empty box and a [design], for brimline design"),
    ),
    "lens": (
        (
            "lens clip.json --name 25 --f-number 2 --front-diameter-mm 114 --front-to-sensor-mm 150 --front-travel-mm 0",
            "a [[lens]] from metadata, on the screen",
        ),
    ),
    "list": (("list formats", "camera formats with their sizes"), ("list words", "what crews say, and what it is called here")),
    "schema": (("schema", "of scene files, for an editor"), ("schema check", "of what check --json prints")),
}


def own_name(name: str) -> str:
    """The name of the command that a word calls: itself, unless it is an earlier name."""
    return ALIASES.get(name, name)


def questions() -> tuple[str, ...]:
    """Names of the commands that answer a question about a scene."""
    return tuple(name for name, (module, _) in COMMANDS.items() if module.startswith("scenes.questions."))
