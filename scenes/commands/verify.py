"""`brimline verify`: whether proofs of clear frames hold."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("verify", short_help="Say whether the proofs that check --prove left hold.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.argument("proof", type=click.Path(path_type=Path))
def command(scene: Path, proof: Path) -> int:
    """Say of each guide in PROOF (a proof.json, or its folder) whether the planes there show it to be clear of all parts of SCENE.

    Reads the scene and traces the light by itself: nothing of what made the proof is used. A scene that `brimline check` refuses is
    refused here too.

    Exit status: 0 all proofs hold, and there is one; 1 one does not, or there is none; 2 the files cannot be read.
    """
    from scenes.io.reading import read_text
    from scenes.proof.verify import main
    from scenes.scene_file.parse import parse_scene

    # The verifier looks for the keys that it knows: a part under a misspelt one would be no part to it.
    parse_scene(read_text(scene), scene.name)
    return main([str(scene), str(proof)])
