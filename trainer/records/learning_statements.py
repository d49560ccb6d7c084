"""Attempts as statements of the Experience API (IEEE 9274.1.1), for a learning record store.

Own IRIs; the person appears only as a keyed digest of the pseudonym, with a salt that stays on this machine.
"""

import hashlib
import hmac
import json
import secrets
import uuid

from meshes.whole_files import whole_file

BASE = "https://example.org/lead-trainer/xapi"
SALT_FILE = "statements.salt"
NAMESPACE = uuid.uuid5(uuid.NAMESPACE_URL, BASE)


def local_salt(folder):
    """Return the salt of this machine, made at the first call. (32,) bytes."""
    path = folder / SALT_FILE
    try:
        return bytes.fromhex(path.read_text(encoding="ascii"))
    except FileNotFoundError:
        salt = secrets.token_bytes(32)
        with whole_file(path) as draft:
            draft.write_text(salt.hex(), encoding="ascii")
        return salt


def duration(seconds):
    """Return a time as ISO 8601: 1834.5 s is PT30M34.5S."""
    hundredths = round(max(float(seconds), 0.0) * 100)
    minutes, rest = divmod(hundredths, 6000)
    hours, minutes = divmod(minutes, 60)
    text = f"{rest / 100:.2f}".rstrip("0").rstrip(".")
    return "PT" + (f"{hours}H" if hours else "") + (f"{minutes}M" if minutes else "") + f"{text}S"


def statement(row, *, salt):
    """Return the statement of a row of `Store.attempts`; the same attempt gives the same id."""
    record = json.loads(row["record"])
    name = hmac.new(salt, row["person"].encode(), hashlib.sha256).hexdigest()[:20]
    verb = "passed" if row["passed"] else "failed"
    case = f"{BASE}/cases/{hashlib.sha256(row['case_title'].encode()).hexdigest()[:16]}"
    rubric = f"{BASE}/rubrics/{hashlib.sha256(row['rubric'].encode()).hexdigest()[:16]}"
    return {
        "id": str(uuid.uuid5(NAMESPACE, f"{row['identity']} {row['rubric_version']} {row['program']}")),
        "actor": {"objectType": "Agent", "account": {"homePage": f"{BASE}/accounts", "name": name}},
        "verb": {"id": f"{BASE}/verbs/{verb}", "display": {"en": verb}},
        "object": {
            "objectType": "Activity",
            "id": case,
            "definition": {
                "type": f"{BASE}/activity-types/simulated-procedure",
                "name": {"en": row["case_title"]},
            },
        },
        "result": {
            "score": {
                "scaled": round(row["percent"] / 100.0, 4),
                "raw": round(row["percent"], 2),
                "min": 0,
                "max": 100,
            },
            "success": bool(row["passed"]),
            "completion": True,
            "duration": duration(row["seconds"]),
            "extensions": {
                f"{BASE}/extensions/critical-errors": list(record["critical_errors"]),
                f"{BASE}/extensions/mode": row["mode"],
                f"{BASE}/extensions/acts": row["events"],
            },
        },
        "context": {
            "registration": str(uuid.uuid5(NAMESPACE, row["identity"])),
            "platform": "lead placement trainer",
            "language": "en",
            "contextActivities": {"parent": [{"objectType": "Activity", "id": rubric}]},
        },
        "timestamp": _stamp(row["started"]),
    }


def _stamp(started):
    return started.replace("+00:00", "Z")


def write_statements(path, rows, *, salt):
    """Write statements as JSON lines under their name in one step; returns how many."""
    lines = [json.dumps(statement(row, salt=salt), ensure_ascii=False) for row in rows]
    with whole_file(path) as draft:
        draft.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
    return len(lines)
