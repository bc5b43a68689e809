#!/usr/bin/env bash
# Holds every locked dependency against the database of known vulnerabilities, by pip-audit in a
# scratch environment made with the interpreter given. Exits with 0 only if each was looked up and
# nothing is known of it, with 1 where something is, and with 3 where the database did not answer,
# which says nothing about any package: pip-audit by itself calls that success.
set -euo pipefail
python=$1
version=2.10.1
lock=requirements-dev.lock # has what requirements.lock has, and more
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT

unknown() {
  echo "not audited: $1" >&2
  exit 3
}

"$python" -m venv "$scratch/venv"
"$scratch/venv/bin/pip" --disable-pip-version-check install --quiet "pip-audit==$version" ||
  unknown "pip-audit $version could not be installed"
status=0
"$scratch/venv/bin/pip-audit" --disable-pip --require-hashes --progress-spinner off \
  --format json --output "$scratch/found" --requirement "$lock" 2>"$scratch/said" || status=$?
[ -s "$scratch/found" ] ||
  unknown "the database of vulnerabilities cannot be reached: $(tail -n 1 "$scratch/said")"
"$python" - "$scratch/found" <<'END'
import json, sys

found = json.load(open(sys.argv[1], encoding="utf-8"))["dependencies"]
skipped = [each["name"] for each in found if "skip_reason" in each]
for each in found:
    for known in each.get("vulns", []):
        mended = ", ".join(known["fix_versions"]) or "no version yet"
        print(f"{each['name']} {each['version']}: {known['id']}, mended in {mended}")
print(f"{len(found) - len(skipped)} of {len(found)} locked packages were looked up")
if any(each.get("vulns") for each in found):
    sys.exit(1)
if skipped or not found:
    print("not audited, the database did not answer for:", *skipped, file=sys.stderr)
    sys.exit(3)
END
