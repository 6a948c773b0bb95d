/** Words of the alarms that wake somebody. */
export const alarmWords = {
  trial: "This is a trial: the alarm reaches you.",
} as const;
