"""What is to be weighed: formulas as written, the plan of a batch, and the ways back from a bowl that went wrong.

Values: `values` has formula, stage, addition and tolerance, `ingredients` the table of what is known of ingredients,
`geometry` dough that is rolled, `uncertainty` how sure a weighing is.

Reading: `file` makes three passes (`line`, `percent`, `settle`) over `traits`, `tolerance`, `rolled`, `egg_sizes` and
`within`, the formulas used by others; `table` reads ingredients; `notices` and `cautions` say what is no mistake.

Planning: `plan` puts together `scales`, `eggs` and `volume`; `wanted` is the factor that a wish comes to, `names` the
addition that a name means, `water` how warm the water must be, `steps` what is done besides weighing.

Correcting: a `situation` becomes whole numbers (`asked`, `problem`); `feasible` finds the factors, `bowls` what is in
the bowl at one, `balance` (by `least_squares`) what is not in yet, `cost` what it costs; `correct` makes the offers,
`front` chooses those worth showing, `advice` says which a good cook would take.

`plan_json`, `correction_json` and `figures` are the documents of the contract.
"""
