"""`lanesim fit`: set the model to a player's own shots."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from ..errors import InputError
from . import common as c

if TYPE_CHECKING:
    from ..fit.own_spread import OwnSpread
    from ..fit.result import FitResult
    from ..fit.side_by_side import SideBySide


@click.command()
@click.argument("shots_csv", metavar="SHOTS.csv")
@click.option("--ball", "ball_specs", multiple=True, metavar="BALL",
              help="Ball of all shots, where the file has no ball column; or FILE.toml:NAME for a "
                   "name in that column that is not a shipped ball. Repeat for several.")
@click.option("--pattern", "pattern_spec", default=None, metavar="PATTERN",
              help="Pattern of all shots, where the file has no pattern column.")
@c.player_options
@click.option("--params", default=None, metavar="NAMES",
              help="Comma-separated parameters to estimate, or 'all'. "
                   "[default: ball_friction,ball_roughness,oil_amount,angle_offset,"
                   "rotation_offset]")
@click.option("--measuring", "measuring", multiple=True, metavar="COLUMN=SD",
              help="Standard deviation of the measuring, as in entry_board=0.3; 'board_at' for "
                   "boards at any distance. Repeat for several.")
@click.option("--prior", "priors", multiple=True, metavar="PARAMETER=SD",
              help="Prior SD of a parameter (of the logarithm for factors), as in "
                   "ball_friction=0.1.")
@click.option("--loss-scale", default=3.0, show_default=True,
              help="Residuals beyond so many SDs count less; 0 for plain least squares.")
@click.option("--starts", type=click.IntRange(1, 50), default=3, show_default=True,
              help="Starting points tried.")
@click.option("--folds", type=click.IntRange(0, 50), default=5, show_default=True,
              help="Parts of the cross-validation; 0 for none.")
@click.option("--profile", type=click.Choice(["flat", "all", "none"]), default="flat",
              show_default=True, help="Profile the likelihood of parameters that are badly known.")
@click.option("--transition", is_flag=True,
              help="Let the oil change from game to game (needs a game column): this player alone "
                   "on a pair of lanes.")
@click.option("--compare-balls", nargs=2, default=None, metavar="FIRST SECOND",
              help="Two balls of the file side by side: the difference and what would settle it.")
@c.out_option("Write the fitted file (.toml) for other commands.", "--out", "out", (".toml",))
@c.out_option("Write the player's means and spread (.toml), for --player.", "--player-out",
              "player_out", (".toml",))
@c.out_option("Draw it into FILE (.png, .svg or .pdf).", "--figure", "figure", c.PICTURE_KINDS)
@c.seed_option
@c.json_option
def command(shots_csv, ball_specs, pattern_spec, player, params, measuring, priors, loss_scale,
            starts, folds, profile, transition, compare_balls, out, player_out, figure, seed,
            as_json) -> None:
    """Estimate ball, lane and measuring from a file of your own shots.

    The file is plain CSV with units in the column names; 'lanesim guide shots' lists them. Where it
    lacks a release column, the player's usual value stands in (--player, --revs, ...).

    \b
    lanesim fit my-shots.csv --ball strong-solid --pattern medium-42 --out fitted.toml
    lanesim fit my-shots.csv --compare-balls old new --figure fit.png
    lanesim fit my-shots.csv --player-out me.toml
    """
    from ..fit.films import films_by_game
    from ..fit.fit import fit_shots
    from ..fit.parameters import DEFAULT_PARAMETERS, PARAMETERS
    from ..fit.shots_file import read_shots

    log = read_shots(shots_csv)
    plain = [s for s in ball_specs if ".toml" not in s]
    if len(plain) > 1:
        raise InputError(f"--ball names {len(plain)} balls; which threw which belongs in a column "
                         "'ball' of the file")
    balls, default_ball = _balls(log, ball_specs)
    log = log.with_names(default_ball, pattern_spec or "")
    patterns = _patterns(log)
    # where the file names a ball or pattern by its own file, the answer carries its name
    log = replace(log, ball=tuple(balls[n].name for n in log.ball),
                  pattern=tuple(patterns[n].name for n in log.pattern))
    balls, patterns = _by_name(balls), _by_name(patterns)
    release = player.release
    names = DEFAULT_PARAMETERS if params is None else (
        tuple(PARAMETERS) if params.strip() == "all" else
        tuple(p.strip() for p in params.split(",") if p.strip()))
    sds = _pairs(measuring, "--measuring")
    c.announce_compile("batch")
    if loss_scale < 0:
        raise InputError(f"--loss-scale is {loss_scale:g}; accepted: 0 (plain) or 0.5 to 1000")
    films = None
    if transition:
        if len(set(log.game)) < 2:
            raise InputError(f"{shots_csv}: --transition needs a game column with more than one "
                             "game in it")
        films = films_by_game(log, balls, patterns, hand=release.hand, usual=release,
                              spread=player.spread, seed=seed)
    with c.progress("fitting"):
        result = fit_shots(
            log, balls, patterns, hand=release.hand, usual=release, spread=player.spread,
            parameters=names,
            measurement_sd=sds, prior_sd=_pairs(priors, "--prior"),
            loss_scale=loss_scale or float("inf"), starts=starts, seed=seed, folds=folds,
            profile=profile, films=films)
    pair = None
    if compare_balls:
        from ..fit.side_by_side import compare_balls as compare

        pair = compare(result, log, balls, patterns, *compare_balls, usual=release,
                       spread=player.spread)
    spread = None
    if player_out is not None:
        from ..fit.own_spread import estimate_spread

        spread = estimate_spread(log, hand=release.hand, usual=release, measurement_sd=sds,
                                 spread=player.spread,
                                 assumed=player.spread_source)
    files = _write(result, spread, player.name, out, player_out, figure)
    if as_json:
        c.print_json(result.to_dict()
                     | ({"side_by_side": pair.to_dict()} if pair else {})
                     | ({"spread": spread.to_dict()} if spread else {}))
    else:
        _print(result)
        if pair:
            _print_pair(pair)
        if spread:
            _print_spread(spread)
    for path in files:
        c.say_written(path)


def _balls(log, specs) -> tuple[dict, str]:
    """Balls by the names used in the file, and the ball of the shots that name none."""
    from ..catalog import load_ball

    given = {ball.name: ball for ball in map(load_ball, specs)}
    default = next(iter(given), "")
    if not default and not all(log.ball):
        default = c.DEFAULT_BALL
        c.say(f"note: no --ball given and no ball named in {log.source}; {default} is assumed")
    wanted = set(log.ball) - {""} | ({default} if default else set())
    return {n: given[n] if n in given else _named(load_ball, n, log, log.ball,
                                                  "; a ball of your own: --ball FILE.toml:NAME")
            for n in sorted(wanted)}, default


def _patterns(log) -> dict:
    from ..catalog import load_pattern_named

    if not all(log.pattern):
        raise InputError(f"{log.source}: no pattern named; add a column 'pattern' or --pattern")
    return {n: _named(load_pattern_named, n, log, log.pattern, "")
            for n in sorted(set(log.pattern))}


def _named(load, name: str, log, column, hint: str):
    """Loads what the shots file names; a mistake is said with its line there."""
    try:
        return load(name)
    except InputError as error:
        where = f"{log.source} line {log.line[column.index(name)]}: " if name in column else ""
        raise InputError(f"{where}{error}{hint}") from None


def _by_name(found: dict) -> dict:
    out: dict = {}
    for spec, made in found.items():
        if made.name in out:
            raise InputError(f"'{spec}' and another of the file's are both called '{made.name}'; "
                             "give each its own name")
        out[made.name] = made
    return out


def _pairs(texts, option: str) -> dict[str, float]:
    out = {}
    for text in texts:
        name, _, value = text.partition("=")
        try:
            out[name.strip()] = float(value)
        except ValueError:
            raise InputError(f"{option} '{text}' is not understood; accepted: NAME=SD, as in "
                             "entry_board=0.3") from None
    return out


def _write(result: FitResult, spread: OwnSpread | None, name: str, out, player_out,
           figure) -> list:
    """Draw first, then write: a drawing that fails leaves no file behind."""
    from ..files import save_figure, write_text

    drawn = None
    if figure is not None:
        from ..figures.fit import draw_fit

        drawn = draw_fit(result)
    files = []
    if out is not None:
        from ..fit.fitted import save_fitted

        files.append(save_fitted(out, result.fitted))
    if spread is not None:
        files.append(write_text(player_out, spread.player_text(name)))
    if drawn is not None:
        files.append(save_figure(drawn, figure))
    return files


def _print(result: FitResult) -> None:
    rows = []
    for i, term in enumerate(result.terms):
        unit = term.parameter.unit or "x default"
        rows.append([term.label, f"{result.estimate[i]:.3f}",
                     f"{result.low[i]:.3f} to {result.high[i]:.3f}", unit,
                     f"{result.sd_share[i]:.0%}"])
    c.print_table(["parameter", "estimate", "95 % interval", "unit", "SD against\nthe prior's"],
                  rows, title=f"{result.fitted_to} ({result.source})", left=(0, 3))
    if result.cross_validated:
        click.echo()
        c.print_table(
            ["column", "assumed", "fitted", "shots"],
            [[n, c.number(v["assumed_rms"], 2), c.number(v["fitted_rms"], 2), f"{v['shots']:.0f}"]
             for n, v in result.cross_validated.items()],
            title="RMS error on shots that the fit had not seen")
    for label, found in result.profiles.items():
        click.echo(f"profile of {label}: {found['low']:.3f} to {found['high']:.3f} (95 %)")
    for text in (*result.notes, *result.warnings):
        click.echo(f"- {text}")


def _print_pair(pair: SideBySide) -> None:
    click.echo()
    rows = []
    for d in pair.differences:
        places = 1 if d.unit == "boards" else 3
        more = "settled" if d.settled else "never" if d.more_shots is None else str(d.more_shots)
        rows.append([d.name + (f" [{d.unit}]" if d.unit else ""), c.number(d.first, places),
                     c.number(d.second, places), c.signed(d.difference, places),
                     f"{c.number(d.low, places)} to {c.number(d.high, places)}", more])
    c.print_table(["", pair.first, pair.second, "difference", "95 % interval", "more shots\nto "
                   "settle it"], rows,
                  title=f"{pair.second} minus {pair.first} on {pair.pattern} "
                        f"({pair.shots[0]} and {pair.shots[1]} shots; boards over "
                        f"{pair.releases} releases thrown)")
    needed = pair.more_shots_for_boards
    click.echo("to know the difference at the pins within "
               f"{pair.within_boards:g} board: "
               + ("enough shots already" if needed == 0 else f"{needed} more shots" if needed else
                  "more of the same shots will not do; measure more columns"))


def _print_spread(spread: OwnSpread) -> None:
    click.echo()
    rows = []
    for name, column in spread.columns.items():
        rows.append([name, f"{column.mean:.2f}", c.number(column.seen, 2), f"{column.sd:.2f}",
                     f"{column.low:.2f} to {column.high:.2f}"
                     + ("" if column.estimated else " (assumed)")])
    c.print_table(["column", "mean", "spread\nread", "own\nspread", "95 % interval"], rows,
                  title=f"the player's spread, {spread.shots} shots, means of {spread.groups} "
                        "games/balls/patterns removed",
                  note="Own spread: standard deviation from shot to shot, the measuring errors "
                       "taken out.")
    for text in spread.cannot_tell():
        click.echo(f"- {text}")
