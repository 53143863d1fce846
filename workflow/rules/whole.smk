PARCEL = next(iter(PLAN.parcels))


rule whole:
    # read -> align -> delivered -> best -> archive -> report -> index, for a run of a single day: it waits for no other day, so
    # one process does it and imports are paid once. The stages are the same functions, called in the same order.
    input:
        local(f"parcels/{PARCEL}.json"),
    output:
        reported=local(f"reported/{PARCEL}.json"),
        pages=local(f"index/{PLAN.id}.done"),
    shell:
        "{PLAN.python:q} -m pullbook.running.job whole --plan {PLAN.file.name:q} --parcel {PARCEL:q}"
        " --reported {output.reported:q} --out {output.pages:q}"
