"""The machine: what happens at the bench, as pure functions of a batch, this second's bench, and one input.

`step` is the whole. `inputs` go in, `events` come out; a `batch` is folded from events alone, the `bench` is rebuilt
from the next readings; `cue` and `snapshot` are what is told and shown.

Deciding: `phase` and `table` name the action, `decide` does it. `watching` is what the weight decides by itself, with
`comparing`, `doubting` and `emptying` (can what the scale shows be believed), `acceptance` (is it good) and `capacity`;
`choosing` and `answering` are questions and their answers, `swapping` another product; an `outcome` is events or a no.

Folding: `apply`, with `answered` for what an answer changes. `codec` and `envelope` make an event the text that is
recorded, `record` is what went in.

Telling: `guide` gives the cue, `telling` what is spoken, `counsel` what a good cook would say, `view` the Snapshot.

`protocols` is what the rooms around hand to each other, so that none of them imports another.
"""
