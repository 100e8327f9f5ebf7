"""`lanesim demo`: an invented scenario worked through; its tables and pictures written to a folder.

The demo is a list of STEPS. A step gets the Scene (who throws, with what, on what) and yields
Products: a file's name, what it shows, and its content (text or a matplotlib figure). To add one,
write a function of that shape and append it to STEPS: the table of contents, the progress bar, the
JSON and the whole-or-not-at-all writing follow by themselves.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .. import __version__
from ..errors import InputError
from . import common as c

if TYPE_CHECKING:
    from ..equipment.ball import Ball
    from ..lane.pattern import OilPattern
    from ..player import Player

FOLDER = "lanesim-demo"
CONTENTS = "contents.txt"


@dataclass(frozen=True)
class Scene:
    """The invented player, the bag and the patterns of the event."""

    player: Player
    strong: Ball
    polished: Ball
    plastic: Ball
    short: OilPattern
    medium: OilPattern
    long: OilPattern
    seed: int


@dataclass(frozen=True)
class Product:
    """A file of the demo: name, one line on what it shows, text or figure; `told`: say it aloud."""

    name: str
    shows: str
    content: Any
    told: str = ""


def make_scene(seed: int) -> Scene:
    """The demo's cast, from the shipped balls and patterns."""
    from ..catalog import load_ball, load_pattern_named

    return Scene(
        player=c.build_player(),
        strong=load_ball("strong-solid"),
        polished=load_ball("polished-pearl"),
        plastic=load_ball("plastic-spare"),
        short=load_pattern_named("medium-39"),
        medium=load_pattern_named("medium-42"),
        long=load_pattern_named("long-45"),
        seed=seed,
    )


# --- steps ---------------------------------------------------------------------------------


def one_shot(scene: Scene) -> Iterator[Product]:
    """The reference shot, followed in full."""
    from ..figures.curves import draw_curves
    from ..figures.flare import draw_flare
    from ..figures.lane_view import draw_paths
    from ..motion.trajectory import throw

    release, ball, pattern = scene.player.release, scene.strong, scene.medium
    shot = throw(ball, release, pattern)
    note = c.release_words(release)
    wide = max(len(name) for name, _ in shot.facts())
    lines = [f"{ball.name} on {pattern.name}", note,
             *(f"{name.ljust(wide)}  {value}" for name, value in shot.facts())]
    yield Product("shot.txt", "the reference shot in numbers", "\n".join(lines) + "\n",
                  told=f"{ball.name} on {pattern.name}: {shot.outcome}, board "
                       f"{shot.entry_board:.1f} at {shot.entry_angle_deg:.1f} deg")
    yield Product("shot.csv", "its path and curves, a row every 0.01 s", shot.to_csv())
    yield Product("shot-path.png", "its path over the oil",
                  draw_paths([shot], pattern, [ball.name], note=note))
    yield Product("shot-curves.png", "speed, slip, friction, rotation, tilt and film on the way",
                  draw_curves([shot], [ball.name], note=note))
    yield Product("shot-flare.png", "the rings that its track drew on the ball",
                  draw_flare(shot, mass_bias=ball.int_diff_in > 0, note=note))


def short_and_long(scene: Scene) -> Iterator[Product]:
    """The same shot on 39 ft and on 45 ft."""
    yield from _compared(scene, "patterns", "39 ft against 45 ft, one ball and release",
                         [scene.strong], [scene.short, scene.long])


def dull_and_polished(scene: Scene) -> Iterator[Product]:
    """One ball with a dull and with a polished surface."""
    yield from _compared(scene, "finishes", "one ball sanded dull, as it comes, and polished",
                         [scene.strong], [scene.medium],
                         finishes=[(1000.0, False), (2000.0, False), (2000.0, True)])


def strong_and_plastic(scene: Scene) -> Iterator[Product]:
    """A strong ball, a polished pearl and a plastic ball."""
    yield from _compared(scene, "balls", "a strong ball, a polished pearl and a plastic one",
                         [scene.strong, scene.polished, scene.plastic], [scene.medium])


def speed_and_revs(scene: Scene) -> Iterator[Product]:
    """How speed and rev rate move the point of entry."""
    from ..figures.heat import draw_sweep
    from ..studies.sweep import parse_axis, sweep

    axes = [parse_axis("speed=16.6:20.6:9"), parse_axis("revs=336:536:9")]
    found = sweep(scene.strong, scene.player.release, scene.medium, axes)
    yield Product("speed-revs.csv", "entry over a grid of speed and rev rate", found.to_csv())
    yield Product("speed-revs.png", "entry board over speed and rev rate",
                  draw_sweep(found, note=c.release_words(scene.player.release)))


def _compared(scene: Scene, name: str, shows: str, balls, patterns, finishes=()
              ) -> Iterator[Product]:
    from ..figures.curves import draw_curves
    from ..studies.compare import compare, make_variants
    from .compare import draw, value_table

    variants = make_variants(balls, patterns, finishes=finishes)
    found = compare(variants, scene.player.release)
    heads, rows = value_table(found)
    table = c.plain_table(heads, rows, left=(0, len(heads) - 1))
    yield Product(f"{name}.txt", f"{shows}: the table", table + "\n",
                  told=f"\n{shows}\n{table}")
    yield Product(f"{name}.csv", f"{shows}: values and differences", found.to_csv())
    yield Product(f"{name}.png", f"{shows}: the paths", draw(found))
    yield Product(f"{name}-curves.png", f"{shows}: speed, slip, friction on the way",
                  draw_curves(found.trajectories, found.labels,
                              note=c.release_words(found.release)))


STEPS: list[Callable[[Scene], Iterator[Product]]] = [
    one_shot,
    short_and_long,
    dull_and_polished,
    strong_and_plastic,
    speed_and_revs,
]
EVENT = "demo_event.toml"
EVENT_SHOTS = 1000


def whole_event(folder: Path, seed: int, as_json: bool) -> tuple[list[dict[str, str]], dict]:
    """The bag for the demo's event: files written, and seconds by step."""
    from ..bag.event import load_event
    from ..catalog import DATA
    from .bag import make_plan, print_plan, write_plan

    event = load_event(DATA / EVENT)
    plan = make_plan(event, shots=EVENT_SHOTS, seed=seed, resamples=100, margin=None, kept=None)
    files = [{"file": path.name, "shows": EVENT_SHOWS[path.name]}
             for path in write_plan(plan, folder)]
    if not as_json:
        click.echo(f"\n{event.title}")
        print_plan(plan)
    return files, plan.seconds


EVENT_SHOWS = {
    "report.html": "the bag for a whole event: one page with its pictures, to open in a browser",
    "bag.csv": "every ball, layout and finish in every condition: pins, rates, lines",
    "bag.json": "the same plan for programs",
    "shop.txt": "what to have drilled and finished",
    "bag-ladder.png": "the bag from strongest to weakest",
    "bag-lines.png": "the lines to start on",
    "bag-gains.png": "what the bag would lose without each ball, and what other bags bring",
    "bag-pins.png": "pins per game of each ball in each condition",
}


# --- the command ---------------------------------------------------------------------------


@click.command()
@click.option("--out", "folder", default=FOLDER, show_default=True, metavar="DIR",
              type=click.Path(path_type=Path), help="Folder for the tables and pictures.")
@c.seed_option
@c.json_option
def command(folder: Path, seed: int, as_json: bool) -> None:
    """Work through an invented scenario and write its tables and pictures.

    First how a strong ball reacts on 39 ft and on 45 ft, dull and polished, next to a plastic
    one; then a whole event on both lengths: which balls to take, drilled and finished how, which
    to throw when, and a report of it. Player, balls and patterns are invented. Files of an earlier
    demo in the folder are written anew.
    """
    from ..files import check_folder

    if folder.exists() and not folder.is_dir():
        raise InputError(f"cannot write to {folder}: it is a file, not a folder")
    check_folder(folder)
    from ..motion.compiled import compiling_ahead

    c.announce_compile("batch")
    started = time.perf_counter()
    written: list[dict[str, str]] = []
    # the first steps need no batch: it is compiled beside them
    with compiling_ahead(), c.progress("demo", len(STEPS)) as report:
        scene = make_scene(seed)
        for n, step in enumerate(STEPS):
            # All of a step is worked out before any of it is written.
            for product in list(step(scene)):
                _write(scene, folder / product.name, product.content)
                written.append({"file": product.name, "shows": product.shows})
                if product.told and not as_json:
                    click.echo(product.told)
            report(n + 1, len(STEPS))
    seconds = {"shots and pictures": time.perf_counter() - started}
    files, spent = whole_event(folder, seed, as_json)
    written += files
    seconds |= spent
    _write(scene, folder / CONTENTS, _contents(scene, written))
    _write(scene, folder / "manifest.json", _manifest(scene, written))
    seconds["all"] = time.perf_counter() - started
    if as_json:
        c.print_json({"folder": str(folder), "files": written, "seconds": seconds})
    else:
        click.echo(f"\nwrote {len(written) + 2} files to {folder}; {folder / CONTENTS} says what "
                   f"each one shows; the report is {folder / 'report.html'}\n"
                   + "time: " + ", ".join(f"{k} {v:.1f} s" for k, v in seconds.items()))


def _write(scene: Scene, path: Path, content: Any) -> None:
    from ..files import write_text

    if isinstance(content, str):
        write_text(path, content)
    else:
        c.save_pictures([(path, content)], [scene.strong], [scene.medium])


def _contents(scene: Scene, written: list[dict[str, str]]) -> str:
    wide = max(len(entry["file"]) for entry in written)
    return "\n".join([
        "What lanesim's demo wrote. Player, balls and oil patterns are invented; the numbers are",
        "computed from a physical model whose assumptions the README states.",
        "",
        f"release: {c.release_words(scene.player.release)}",
        "",
        *(f"{entry['file'].ljust(wide)}  {entry['shows']}" for entry in written),
        "",
    ])


def _manifest(scene: Scene, written: list[dict[str, str]]) -> str:
    import platform

    from ..files import to_json

    return to_json({
        "lanesim": __version__,
        "event": EVENT, "event_shots": EVENT_SHOTS,
        "python": platform.python_version(),
        "seed": scene.seed,
        "player": scene.player,
        "balls": [ball.name for ball in (scene.strong, scene.polished, scene.plastic)],
        "patterns": [p.summary() for p in (scene.short, scene.medium, scene.long)],
        "files": written,
    })
