rule measure:
    # read -> align -> delivered: what each pull of the day was and what its spark really did, and the day's own figures.
    input:
        local("parcels/{parcel}.json"),
    output:
        directory("measured/{parcel}"),
    params:
        plan=PLAN.file.name,
    shell:
        "{PLAN.python:q} -m pullbook.running.job measure --plan {params.plan:q} --parcel {wildcards.parcel:q} --out {output:q}"
