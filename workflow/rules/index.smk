rule index:
    # Every engine and day, newest first, and each engine's tune history.
    input:
        expand("parcels/{parcel}.reported", parcel=PLAN.parcels),
    output:
        f"index/{PLAN.id}.done",
    params:
        plan=PLAN.file.name,
    shell:
        "{PLAN.python:q} -m pullbook.running.job index --plan {params.plan:q} --done {output:q}"
