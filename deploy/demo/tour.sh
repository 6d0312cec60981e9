# The tour, step by step; deploy/try.sh runs it, and the README shows its output. Sourced: say and show come from there.

say "Load the studio: rooms, extraction, supplies, furnaces, hours, closures, materials, recipes"
show studio load demo/studio.yaml demo/materials.yaml demo/recipes.yaml
show furnace list

say "Who works here: three departments, a technician, makers; each comes in with a key of their own"
for department in ceramics conservation printmaking glass painting sculpture; do
  saggar department add "$department" --title "${department^}" >/dev/null
done
show person add tove --role technician --title Tove
show person add ossi --role maker --department conservation --title Ossi
show person add mira --role maker --department ceramics --title Mira
show person add pia --role maker --department printmaking --title Pia
show key create mira --label laptop --secret-file mira.key
show sign-in --context mira --key-file mira.key
joins tove technician
joins ossi maker
joins pia maker
show context use tove

say "What does a run of the blue pigment do? Charge, balance, off-gas, times, air"
show recipe check demo/sodalite-blue.yaml --chart-file blue.svg
show recipe add demo/sodalite-blue.yaml --context steward

say "The technician opens a firing of clay for everybody; two departments join it, and what would not come out right stays out"
show firing open demo/shared-clay.yaml
show run book calcined-clay --department conservation --id clay-one --join calcine=f1@6 --context ossi
show run book calcined-clay --department printmaking --id clay-two --factor 2 --join calcine=f1@12 --context pia
show =3 run book bisque --department ceramics --id bowls --factor 0.1 --join bisque=f1@10 --context mira
show firing show f1

say "Sculpture books a melt in one go; somebody plans a bisque firing and does not book it yet"
show run book tin-bronze --department sculpture --id bronze-one --from "2027-03-02 08:00" --acknowledge FUME_NOT_MODELLED
show run plan bisque --department sculpture --id bisque-two --from "2027-03-01 08:00" --save later.json

say "Three departments plan one shared week at once: all stages of all runs, and book them all or none"
show run plan --runs demo/shared-week.yaml --from "2027-03-01 08:00" --until "2027-03-07 18:00" --search-time 30s --save week.json
show run book --plan week.json --acknowledge AIR_SHORT_TERM_LIMIT,HEAT_OPENED_REDUCING

say "Much sulfur dioxide waits for the steward's yes: the windows are held meanwhile"
show =4 run clear blue-one
show run waiting --context steward
show run clear blue-one --context steward --note "fan measured on Friday"

say "The kiln that sculpture planned is taken now: refused, with who is there and what would do; planned again, and booked"
show =3 run book --plan later.json
show run plan --refresh later.json --save later.json
show run book --plan later.json

say "A run can be had in different ways"
show run plan egyptian-blue --department painting --id egypt-two --from "2027-03-08 08:00" --attend "mon-fri 08:00-18:00" --alternatives 3 --save egypt.json
show run book --plan egypt.json --take 1

say "The bay's furnaces fall out: what is hit, where it could go; nothing moves until it is accepted, and then all or none"
show closure add breaker --subject supplies/bay-panel --from "2027-03-02 09:00" --until "2027-03-03 12:00" --reason "new breaker"
show run replan --save moves.json
show run replan --accept moves.json --acknowledge AIR_SHORT_TERM_LIMIT,HEAT_OPENED_REDUCING

say "Eight times the charge of blue: the extraction does not carry what comes off, and the answer says what would be enough"
show =3 run plan sodalite-blue --department conservation --factor 8 --from "2027-03-08 08:00"

say "The cure: a stronger fan and make-up air, measured; the same firing then passes"
show circuit update --file demo/stronger-fan.yaml --context steward
show room update --file demo/stronger-make-up.yaml --context steward
show run book sodalite-blue --department conservation --id blue-eight --factor 8 --from "2027-03-08 08:00" --acknowledge AIR_SHORT_TERM_LIMIT,HEAT_CHARGE_EXOTHERM,HEAT_OPENED_REDUCING
show run clear blue-eight --context steward

say "The week"
show week --from 2027-03-01

say "The technician's sheet of a day, on screen and as a page to print"
show day --date 2027-03-04 --html thursday.html

say "Whoever wants it in their own calendar makes an address for it, which can be revoked"
show feed create --department conservation --label "studio screen" --address-file conservation.feed
show feed read --address-file conservation.feed --save conservation.ics

say "A maker's key opens what a maker may, and everything that was changed is on record"
show =4 circuit update --context mira --file demo/stronger-fan.yaml
show =4 run cancel blue-one --context mira
show trace verify --context steward
