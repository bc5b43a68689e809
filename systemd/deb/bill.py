"""Whose work is in the package: a CycloneDX bill of materials, a list, and the copyright file."""

from __future__ import annotations

import json
import uuid
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from locked import Locked, normal_name
from wheels import Wheel


def bill(agent: Wheel, others: Sequence[Wheel], locked: Sequence[Locked], epoch: int) -> str:
    """CycloneDX 1.5, as JSON; the same for the same wheels and ``epoch`` (seconds since 1970)."""
    users = {each.name: each.needed_by for each in locked}
    direct = {each.name for each in locked if each.is_direct}
    refs = {normal_name(each.name): each.purl for each in others}
    for each in others:
        locks = [lock for lock in locked if lock.name == normal_name(each.name)]
        if not any(each.sha256 in lock.hashes for lock in locks):
            raise SystemExit(f"{each.path.name}: its hash is not in the lock")
    needs = [
        {"ref": ref, "dependsOn": sorted(refs[n] for n in refs if name in users[n])}
        for name, ref in refs.items()
    ]
    document: dict[str, Any] = {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "metadata": {
            "timestamp": datetime.fromtimestamp(epoch, UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "component": _component(agent, "application"),
        },
        "components": [_component(each, "library") for each in others],
        "dependencies": [{"ref": agent.purl, "dependsOn": sorted(refs[n] for n in direct)}, *needs],
    }
    content = json.dumps(document, sort_keys=True)
    document["serialNumber"] = f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, content)}"
    return json.dumps(document, indent=2) + "\n"


def _component(wheel: Wheel, kind: str) -> dict[str, Any]:
    licence = {"expression": wheel.licence}
    named = {"license": {"name": wheel.licence}}
    found = {
        "type": kind,
        "bom-ref": wheel.purl,
        "name": normal_name(wheel.name),
        "version": wheel.version,
        "description": wheel.summary,
        "hashes": [{"alg": "SHA-256", "content": wheel.sha256}],
        "licenses": [licence if wheel.licence_is_expression else named],
        "purl": wheel.purl,
    }
    boms = [{"type": "bom", "url": path} for path in wheel.boms]
    return {**found, "externalReferences": boms} if boms else found


def licences(others: Sequence[Wheel]) -> str:
    """A line for each package: name, version, licence as its maker names it."""
    return "".join(f"{each.name} {each.version}: {each.licence}\n" for each in others)


def copyright_text(others: Sequence[Wheel]) -> str:
    """What /usr/share/doc/arraygauge/copyright says: ours, then each maker's own words."""
    parts = [
        (
            "arraygauge: copyright the arraygauge authors. Licence: Apache-2.0, whose text is in\n"
            "/usr/share/common-licenses/Apache-2.0.\n\n"
            "Below /usr/lib/arraygauge are also, unchanged, as their makers published them:\n\n"
            f"{licences(others)}\n"
            "What was compiled into them is listed in their 'sboms' folders. Texts follow.\n"
        )
    ]
    for each in others:
        for path, text in sorted(each.licence_texts.items()):
            parts.append(f"\n{'-' * 72}\n{path}\n\n{text.rstrip()}\n")
    return "".join(parts)
