"""Heat: how far a barrel rises, and which cold offset makes it run on the axis.

`expansion` has the coefficients and the growth of steel; `geometry` what is known of a line and its temperatures;
`rise` the heat model with its uncertainty (from `parts` and `pinned`); `cold_reference` brings a warm survey back to
cold; `measured` turns running checks into rises and groups them into runs; `soak` finds where an unfinished warm-up
is heading; `bore_size` is the trade's rule of thumb; `choices` compares the five ways of choosing a cold offset
(`history` learns from runs, `judging` weighs the ways). Pure: arrays and small value objects in, the same out.
"""
