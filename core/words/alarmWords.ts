/** Words of the alarms that wake somebody. */
export const alarmWords = {
  trial: "This is a trial: the alarm reaches you.",
  silent: "The laptop has stopped answering this page. Go and look at it.",
  label: "Alarms on this page",
  isOn: "Ring on this page",
  explain:
    "Rings for trouble, for a surge, and when the laptop stops answering. Keep the page open and the phone unlocked: a locked phone stays silent.",
  tryOut: "Try the sounds:",
  sounds: { trouble: "Trouble", surge: "Surge", silent: "No answer" },
  quietFrom: "Quiet from (hour)",
  quietTo: "Quiet until (hour)",
  quietHelp: "Nothing rings between these hours by this device's clock, for example 7 to 16.",
  quietUnclear: "Enter both hours, 0 to 24. Until then it rings at any hour.",
  notices: "System notifications too (they may be bright)",
  wantsTouch: "Touch the page once: the browser lets it ring only after that.",
} as const;
