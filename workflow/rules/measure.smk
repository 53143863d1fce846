rule measure:
    # read -> align -> delivered: what each pull of the day was and what its spark really did, and the day's own figures.
    input:
        "parcels/{parcel}.json",
    output:
        "parcels/{parcel}.measured",
    params:
        plan=PLAN.file.name,
    shell:
        "{PLAN.python:q} -m pullbook.running.job measure --plan {params.plan:q} --parcel {wildcards.parcel:q} --done {output:q}"
