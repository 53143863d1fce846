rule whole:
    # read -> align -> delivered -> best -> archive -> report -> index, for a run of a single day: it waits for no other day, so
    # one process does it and imports are paid once. The stages are the same functions, called in the same order.
    input:
        local(expand("parcels/{parcel}.json", parcel=PLAN.parcels)),
    output:
        reported=local(expand("reported/{parcel}.json", parcel=PLAN.parcels)),
        pages=local(f"index/{PLAN.id}.done"),
    params:
        plan=PLAN.file.name,
        parcel=list(PLAN.parcels),
    shell:
        "{PLAN.python:q} -m pullbook.running.job whole --plan {params.plan:q} --parcel {params.parcel:q}"
        " --reported {output.reported:q} --out {output.pages:q}"
