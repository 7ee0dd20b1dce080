// Package plan holds the frozen plan of a run and its exact text.
//
// A plan is one procedure made ready for one car: loops unrolled, conditions
// resolved, limits computed and attached. The procedure package builds it,
// the run package executes it, and whoever judges afterwards uses it. All
// use the same types; nothing is converted on the way.
//
// # Plan format
//
// The text of a plan is stored under its SHA-256, and the first entry of a
// run names that digest. So the text must be exact: there is one text for a
// plan, [Marshal] prints it, and [Parse] accepts only what Marshal would
// have printed.
//
// The text is UTF-8. Every line ends in LF. The first line is
//
//	hvproof plan 1
//
// and the last line is
//
//	end
//
// Between them stand lines "NAME: VALUE", one space after the colon, in the
// order below. A line marked ? is left out where its value is empty, "no" or
// 0; a line marked * is repeated for every element. "yes" is the only value
// of a line that says yes or no.
//
//	car: NAME
//	procedure: ID
//	title: TEXT
//	stage: A … E
//	purpose: TEXT                                       ?
//	live: yes                                           ?
//	practice: yes                                       ?
//	not applicable: REASON                              ?
//	proof: DAYS ID                                      *
//	  part: PART                                        *  (at least one)
//	prerequisite: ID                                    *
//	people: NUMBER
//	protective: ID TEXT                                 *
//	caution: ID TEXT                                    *
//	make safe: TEXT                                     *
//	ambient: yes                                        ?
//	retest: ITEM                                        *  (the turns of loops it was cut down to)
//	car voltage: NUMBER                                 ?
//	file: shipped|changed|own DIGEST NAME               *
//	sign out: NUMBER                                    (index of the first sign-out step)
//	step: PATH                                          *
//	  kind: confirm|observe|measure|time|compute|wait|hold|capture
//	  text: TEXT
//	  purpose: TEXT                                     ?
//	  source: TEXT                                      ?
//	  not applicable: REASON                            ?
//	  item: ITEM                                        *  (turns of loops around it, outermost first)
//	  part: PART                                        *
//	  caution: ID TEXT                                  *
//	  state: NAME VALUE                                 *
//	  witness: yes                                      ?
//	  hold: ROLE                                        ?
//	  if failed: stop|make_safe|note
//	  conditional pass: yes                             ?
//	  expect: WORD                                      ?
//	  choice: WORD                                      *
//	  dimension: DIMENSION                              (measure, time, compute)
//	  role: ROLE                                        ?
//	  method: TEXT                                      ?
//	  stimulus: TEXT                                    ?
//	  test voltage at least: NUMBER                     ?
//	  test current at least: NUMBER                     ?
//	  test current at most: NUMBER                      ?
//	  lead check: before|after                          ?
//	  unfit meter: refuse|mark                          ?
//	  heat: PART JOULES PULSE WATTS                     *  (what every attempt puts into a resistor)
//	  seconds: NUMBER                                   ?
//	  function: NAME                                    ?
//	  argument: NAME step PATH                          *
//	  argument: NAME text TEXT                          *
//	  argument: NAME value LOW NOMINAL HIGH DIMENSION   *
//	    formula, substituted, exactness, input: as for a bound
//	  channel: ROLE COLUMN                              *  (capture)
//	  signal: NAME ID standard|extended BUS|any START BITS little|big
//	          signed|unsigned SCALE OFFSET DIMENSION INVALID…  (one line)  *  (capture)
//	  recorder: CHANNEL ROLE                            *  (capture: an instrument of its own for a channel)
//	  bound: KIND ID                                    *
//	    feature: NAME                                   ?  (capture)
//	    low: NUMBER                                     (at_least, between, expected)
//	    high: NUMBER                                    (at_most, magnitude_at_most, between, expected)
//	    dimension: DIMENSION
//	    formula: TEXT                                   ?
//	    substituted: TEXT                               ?
//	    exactness: TEXT                                 ?
//	    input: LOW HIGH DIMENSION NAME                  *
//	    rules: ID                                       ?
//	    source: TEXT                                    ?
//	    method: TEXT                                    ?
//	    stimulus: TEXT                                  ?
//	    test voltage at least: NUMBER                   ?
//	    test current at least: NUMBER                   ?
//	    test current at most: NUMBER                    ?
//	    rule: guard_band|simple_acceptance
//	    governs: yes                                    ?
//
// The indentation above only shows what belongs to what; in the text every
// line starts at its first column. The three forms of argument keep the
// order of the function's own arguments.
//
// Text is escaped as in an entry: a line break as \n, \r, a tab as \t, a
// backslash as \\, a control, format or bidirectional character as \u{HEX},
// nothing else. Whatever stands before a space (ids, names, roles) contains
// no space. Numbers are SI, plain decimal, the shortest text that gives the
// same 64-bit number back, without exponent and without −0. A dimension is
// the product of base units with their exponents in the order
//
//	kg m s A K rad
//
// joined by dots, "kg.m2.s-3.A-1" for the volt, and "1" where there is none.
package plan
