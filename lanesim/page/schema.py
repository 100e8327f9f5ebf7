"""What every route takes, as a JSON schema made from the very structs that check it."""

from __future__ import annotations

from typing import Any

import msgspec

from .studies import STUDIES


def schema(routes: dict[str, type[Any]]) -> dict[str, Any]:
    """One answer for all: routes and studies by name, and the schemas of what they take.

    routes : path -> the struct that it takes. Answers of studies hold under `numbers` what the
    command of that name prints with --json.
    """
    studies = {f"/api/study/{name}": study.asks for name, study in STUDIES.items()}
    found, parts = msgspec.json.schema_components([*routes.values(), *studies.values()],
                                                  ref_template="#/$defs/{name}")
    named = dict(zip([*routes, *studies], found, strict=True))
    return {
        "about": "POST JSON with the session's cookie from the page's own origin. A study is asked "
                 "as {\"asked\": .., \"start\": true}; its answer lies at /api/result/ID.",
        "routes": named, "$defs": parts,
    }
