import type { Campaign } from "./campaign.ts";

/** Every campaign by the name that the command takes; loaded only when it is run. */
export const CAMPAIGNS: Readonly<Record<string, () => Promise<Campaign>>> = {
  kills: async () => (await import("./kills.ts")).KILLS,
  nights: async () => (await import("./nights.ts")).NIGHTS,
  soak: async () => (await import("./soak.ts")).SOAK,
  pointing: async () => (await import("./pointing.ts")).POINTING,
  bodies: async () => (await import("./bodies.ts")).BODIES_CAMPAIGN,
  owners: async () => (await import("./owners.ts")).OWNERS,
  inputs: async () => (await import("./inputs.ts")).INPUTS,
};
