rule index:
    # Every engine and day, newest first, and each engine's tune history.
    input:
        local(expand("reported/{parcel}.json", parcel=PLAN.parcels)),
    output:
        local(f"index/{PLAN.id}.done"),
    shell:
        "{PLAN.python:q} -m pullbook.running.job index --plan {PLAN.file.name:q} --out {output:q}"
