rule measure:
    # read -> align -> delivered: what each pull of the day was and what its spark really did, and the day's own figures.
    input:
        local("parcels/{parcel}.json"),
    output:
        directory("measured/{parcel}"),
    shell:
        "{PLAN.python:q} -m pullbook.running.job measure --plan {PLAN.file.name:q} --parcel {wildcards.parcel:q} --out {output:q}"
