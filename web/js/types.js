// What the server sends, as the page reads it. Types only; nothing here runs.

/**
 * @typedef {"calm" | "steer" | "warn" | "alarm" | "secured" | "lost"} Ground
 * @typedef {"none" | "up" | "down" | "tick" | "octagon" | "broken" | "wall" | "dashed"} FaceMark
 * @typedef {"met" | "low" | "high" | "saturated" | "unreadable" | "out_of_range" | "wander" | "stale" | "unknown" | "missing"} Status
 * @typedef {"todo" | "running" | "secured" | "missed" | "stopped" | "sparse" | "skipped"} OutcomeName
 *
 * @typedef {object} DriveState
 * @property {string | null} id
 * @property {"recording" | "stopping" | "paused" | "ended" | "none"} phase
 * @property {number} t_s seconds since the drive's first sample
 * @property {number | null} stop_left_s
 * @property {"replay" | "simulator" | "link"} source
 * @property {number | null} speed null: flat out
 * @property {boolean} [locked] the car moves and nobody has confirmed being the passenger
 * @property {boolean} [moving]
 * @property {"passenger" | "driver" | null} [role] who holds the phone
 * @property {string | null} [recipe] its SHA-256
 *
 * @typedef {object} Face
 * @property {Ground} ground
 * @property {FaceMark} mark
 * @property {string} code
 * @property {string} line at most six words
 * @property {string} number
 * @property {"clock" | "count" | "amount" | "gear" | "none"} number_kind
 * @property {string} caption
 * @property {string} [speech] the utterance in force, in words for the voice
 * @property {number} [speech_id] another number is another utterance
 * @property {string} [speech_unit] the unit of the number in it, as it is spoken; empty without one
 *
 * @typedef {object} LaneState
 * @property {string} signal
 * @property {string} name
 * @property {string} unit
 * @property {number | string | null} value
 * @property {Status} status
 * @property {string} spare
 * @property {number | null} low
 * @property {number | null} high
 * @property {string | null} low_text
 * @property {string | null} high_text
 * @property {number} progress 0 to 1
 * @property {string | null} goal
 * @property {number | null} ceiling
 * @property {string | null} ceiling_text
 * @property {string | null} swept the signal that runs across, where that is not time
 * @property {number | null} ghost how far the best missed attempt came, 0 to 1
 * @property {{x: number, y: number | null} | null} head
 *
 * @typedef {object} Lead
 * @property {string} id
 * @property {string} title
 * @property {"hold" | "sweep" | "collect"} kind
 * @property {string} place
 * @property {"waiting" | "armed" | "running" | "held" | "closed"} phase
 * @property {string | null} gate
 * @property {string[]} [confirm] what a person has to confirm before it may begin
 * @property {number | null} [number] of the running attempt
 * @property {LaneState | null} lane
 * @property {RowState[]} rows
 * @property {string | null} [more]
 *
 * @typedef {object} RowState
 * @property {string} signal
 * @property {string} name
 * @property {string | number | null} value
 * @property {string} unit
 * @property {string} asked
 * @property {string} spare
 * @property {Status} status
 * @property {number | null} low where the allowed stretch begins on the rule, 0 to 1
 * @property {number | null} high
 * @property {number | null} at
 * @property {number | null} age_s
 *
 * @typedef {object} CaptureState
 * @property {string} id
 * @property {string} title
 * @property {string} kind
 * @property {string} place
 * @property {OutcomeName} outcome
 * @property {number} asked
 * @property {number} done
 * @property {string | null} gate
 *
 * @typedef {object} AlarmState
 * @property {string} signal
 * @property {string} [capture]
 * @property {boolean} [inside] its value is back inside
 * @property {string} line
 * @property {string} text
 *
 * @typedef {object} Ear what can be heard on this phone now
 * @property {"off" | "blocked" | "none" | "on"} tones `blocked`: a tap is needed first; `none`: this browser has no sound
 * @property {"off" | "blocked" | "none" | "on"} voice `none`: there is no voice on the phone itself
 *
 * @typedef {object} LiveState
 * @property {DriveState} drive
 * @property {Face} face
 * @property {Lead | null} lead
 * @property {CaptureState[]} captures
 * @property {AlarmState | null} alarm
 * @property {{state: "up" | "lost" | "none", age_s: number | null, reason?: string, rates_hz?: Object<string, number>, occupied?: boolean, rates?: {signal: string, name: string, asked_hz: number, hz: number}[]}} link
 * @property {{stopped: boolean, text: string} | null} [trouble] what goes wrong with keeping the data
 *
 * @typedef {object} Phone what the page knows of its own connection to the server
 * @property {boolean} lost
 * @property {boolean} old what is shown is old, and the server is being asked
 * @property {number} age_s since the last word from the server
 * @property {string} back what to say for three seconds after coming back, or ""
 * @property {boolean} told whether Stop was pressed while lost
 *
 * @typedef {object} Attempt
 * @property {Exclude<OutcomeName, "todo" | "running" | "skipped">} outcome
 * @property {number} number
 * @property {number} start_s
 * @property {number} end_s
 * @property {number} duration_s
 * @property {number | null} secured_s
 * @property {{code: string, signal: string | null, value: number | null, bound: number | null, t_s: number, text: string} | null} reason
 * @property {string | null} [remedy]
 * @property {number} [progress]
 * @property {{signal: string, start_s: number, duration_s: number, peak: number | null}[]} [excursions]
 * @property {{from_s: number, to_s: number} | null} [crossings]
 * @property {boolean} [small]
 *
 * @typedef {object} Verdict
 * @property {{title: string, revision: number, sha256: string}} recipe
 * @property {{duration_s: number, samples: number, signals: Record<string, {count: number, rate_hz: number, max_gap_s: number}>}} drive
 * @property {VerdictCapture[]} captures
 *
 * @typedef {object} VerdictCapture
 * @property {string} id
 * @property {string} title
 * @property {string} kind
 * @property {string} place
 * @property {number} asked
 * @property {number} qualified
 * @property {number | null} best number of the best attempt
 * @property {string | null} [never] why there is no attempt
 * @property {Attempt[]} attempts
 *
 * @typedef {object} RecipeCapture
 * @property {string} id
 * @property {string} title
 * @property {"hold" | "sweep" | "collect"} kind
 * @property {string} place road, closed course or parked
 * @property {number} times
 * @property {string} sentence
 * @property {boolean} [limited] whether it has a limit
 * @property {string} [limits] its limits as one phrase, "95 kPa boost or 108 °C coolant"
 *
 * @typedef {object} RecipeView
 * @property {string} sha256
 * @property {string} title
 * @property {number} revision
 * @property {string} [note]
 * @property {number | null} [minutes]
 * @property {string[]} [notes] codes of the notes that its places call for
 * @property {RecipeCapture[]} captures
 * @property {{level: string, message: string}[]} [findings]
 * @property {{good: boolean, name: string | null, public_key: string | null, fingerprint: string | null} | null} [signed_by] null: nobody signed it
 */

export {};
