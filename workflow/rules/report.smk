rule report:
    # best -> archive -> report. Waits for the parcels that hold earlier days of the same engine or dyno: their own figures
    # are this day's prior knowledge, so the answer does not depend on which job happened to end first.
    input:
        parcel=local("parcels/{parcel}.json"),
        measured=lambda wc: [f"measured/{p}" for p in PLAN.needed_before(wc.parcel)],
    output:
        local("reported/{parcel}.json"),
    shell:
        "{PLAN.python:q} -m pullbook.running.job report --plan {PLAN.file.name:q} --parcel {wildcards.parcel:q}"
        " --out {output:q} --measured {input.measured:q}"
