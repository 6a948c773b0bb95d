/** Words of the alarms that wake somebody. */
export const alarmWords = {
  trial: "This is a trial: the alarm reaches you.",
  silent: "The page hears nothing from the laptop any more. Look after it.",
  label: "Alarms of this page",
  isOn: "Ring on this screen",
  explain:
    "It rings when something wants your hand, when the sky surges, and when the laptop falls silent. Keep the page open: a locked phone sleeps through it.",
  tryOut: "Try the sounds",
  sounds: { trouble: "Trouble", surge: "Surge", silent: "Laptop silent" },
  quietFrom: "Quiet from, hour",
  quietTo: "Quiet to, hour",
  quietHelp: "Nothing rings between these hours of your clock, for example from 7 to 16.",
  quietUnclear: "Give both hours, from 0 to 24; until then it rings at any hour.",
  notices: "Notices of the system too (they may be bright)",
  wantsTouch: "Touch the page once, so that it may ring.",
} as const;
