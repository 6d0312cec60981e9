# The tour, step by step; deploy/try.sh runs it, and the README shows its output. Sourced: say and show come from there.

say "Load the studio: rooms, extraction, supplies, furnaces, hours, closures, materials, recipes"
show studio load demo/studio.yaml demo/materials.yaml demo/recipes.yaml
show furnace list

say "What does a run of the blue pigment do? Charge, balance, off-gas, times, air"
show recipe check demo/sodalite-blue.yaml --chart-file blue.svg
show recipe add demo/sodalite-blue.yaml

say "Three departments plan and book; the windows of all stages of a run are found at once"
show run plan sodalite-blue --department conservation --id blue-one --from "2027-03-01 08:00" --save blue.json
show run book --plan blue.json --acknowledge AIR_SHORT_TERM_LIMIT,HEAT_OPENED_REDUCING
show run plan bisque --department ceramics --id bisque-one --from "2027-03-01 08:00" --save bisque.json
show run book --plan bisque.json
show run book egyptian-blue --department conservation --id egypt-one --from "2027-03-01 08:00"
show run book tin-bronze --department sculpture --id bronze-one --from "2027-03-02 08:00" --acknowledge FUME_NOT_MODELLED
show run book stoneware-glaze --department ceramics --id glaze-one --from "2027-03-01 08:00"
show run book red-oxide --department sculpture --id red-one --from "2027-03-03 08:00"

say "The kiln that ceramics booked, wanted by sculpture at the same time: refused, with who is there and what would do"
sed 's/bisque-one/bisque-two/; s/ceramics/sculpture/' bisque.json >clash.json
show =3 run book --plan clash.json

say "Eight times the charge of blue: the extraction does not carry what comes off, and the answer says what would be enough"
show =3 run plan sodalite-blue --department conservation --factor 8 --from "2027-03-08 08:00"

say "The cure: a stronger fan and make-up air, measured; the same firing then passes"
show circuit update --file demo/stronger-fan.yaml
show room update --file demo/stronger-make-up.yaml
show run book sodalite-blue --department conservation --id blue-eight --factor 8 --from "2027-03-08 08:00" --acknowledge AIR_SHORT_TERM_LIMIT,HEAT_OPENED_REDUCING

say "The week"
show week --from 2027-03-01

say "Somebody else comes in: a maker's key opens what a maker may, and everything that was changed is on record"
show department add ceramics --title Ceramics
show person add mira --role maker --department ceramics
show key create mira --label laptop --secret-file mira.key
show =4 circuit update --key-file mira.key --file demo/stronger-fan.yaml
show =4 run cancel blue-one --key-file mira.key
show trace verify
