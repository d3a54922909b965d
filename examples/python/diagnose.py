"""Diagnoses a job in a few lines: python diagnose.py [JOB.json]."""

import json
import sys
from pathlib import Path

import faultloom

shipped = faultloom.data_path() / "jobs" / "rose-walk-no-click.json"
job = Path(sys.argv[1]) if len(sys.argv) > 1 else shipped
vehicle_id = json.loads(job.read_text(encoding="utf-8"))["vehicle"]
model = faultloom.Model(faultloom.find_vehicle(vehicle_id, job))
for suspect in model.rank(job, top=5).components:
    print(f"{suspect.probability:6.1%}  {suspect.id:8} {suspect.title}")
print("Next:", model.next_step(job).step.text)
