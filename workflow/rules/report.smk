rule report:
    # best -> archive -> report. Waits for the parcels that hold earlier days of the same engine or dyno: their own figures
    # are this day's prior knowledge, so the answer does not depend on which job happened to end first.
    input:
        lambda wc: [f"parcels/{p}.measured" for p in PLAN.needed_before(wc.parcel)],
        parcel="parcels/{parcel}.json",
    output:
        "parcels/{parcel}.reported",
    params:
        plan=PLAN.file.name,
    shell:
        "{PLAN.python:q} -m pullbook.running.job report --plan {params.plan:q} --parcel {wildcards.parcel:q} --done {output:q}"
