"""Sends a folder of photos to nodespan, waits, and prints medians by block.

    python3 canes.py http://127.0.0.1:8417 FOLDER

needs Python 3.8 and nothing else. Against a demonstration (nodespan serve
--demo) no token is needed; else make one on the page of your account, with the
scope "record", and put it into the environment variable NODESPAN_TOKEN.
Photos are named by their vine: North-4-7.jpg is block North, row 4, vine 7.
"""
import csv
import io
import json
import os
import statistics
import sys
import time
import urllib.request
import uuid


def call(method, path, body=None, kind="application/json"):
    """Makes one call and gives the answer's text; prints what was wrong."""
    headers = {"X-Nodespan": "1"}
    if body is not None:
        headers["Content-Type"] = kind
    if os.environ.get("NODESPAN_TOKEN"):
        headers["Authorization"] = "Bearer " + os.environ["NODESPAN_TOKEN"]
    request = urllib.request.Request(server + path, data=body, headers=headers, method=method)
    try:
        with urllib.request.urlopen(request) as answer:
            return answer.read().decode()
    except urllib.error.HTTPError as fault:
        sys.exit(f"{method} {path}: {fault.read().decode()}")


def send(job, folder, name):
    """Sends one photo as a multipart form with the fields path and photo."""
    edge = uuid.uuid4().hex
    with open(os.path.join(folder, name), "rb") as f:
        photo = f.read()
    form = (f'--{edge}\r\nContent-Disposition: form-data; name="path"\r\n\r\n{name}\r\n'
            f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="photo"\r\n\r\n').encode()
    form += photo + f"\r\n--{edge}--\r\n".encode()
    call("POST", f"/api/jobs/{job}/photos", form, f"multipart/form-data; boundary={edge}")


server, folder = sys.argv[1].rstrip("/"), sys.argv[2]
job = json.loads(call("POST", "/api/jobs", json.dumps({"name": "example " + time.strftime("%H:%M:%S")}).encode()))["id"]
photos = sorted(n for n in os.listdir(folder) if n.lower().endswith((".jpg", ".jpeg", ".png", ".webp")))
for name in photos:
    send(job, folder, name)
while True:
    state = json.loads(call("GET", f"/api/jobs/{job}"))
    counts = state["counts"]
    print(f"{state['doing']}: {counts['photos'] - counts['waiting']} of {len(photos)} photos", file=sys.stderr)
    if state.get("fault"):
        sys.exit(state["fault"])
    written = state["written"]
    if state["doing"] == "idle" and written and sum(written["counts"][k] for k in ("measured", "refused", "failed")) == len(photos):
        break
    time.sleep(1)

blocks = {}
for row in csv.DictReader(io.StringIO(call("GET", f"/api/jobs/{job}/files/canes.csv"))):
    # Where several photos show a vine, its canes are counted by one of them.
    if row["diameter_mm"] and row["counted"] == "TRUE":
        blocks.setdefault(row["block"] or "(no known vine)", []).append(float(row["diameter_mm"]))
print(f"job {job}: {counts['measured']} photos measured, {counts['refused']} refused, {counts['failed']} unreadable")
for block, diameters in sorted(blocks.items()):
    print(f"{block}: {len(diameters)} canes, median diameter {statistics.median(diameters):.1f} mm")
