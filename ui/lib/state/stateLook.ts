import type { StateNotice } from "../../../core/api/messages.ts";
import { words } from "../../../core/words/words.ts";
import type { LinkState } from "./daemon.svelte.ts";

type Kind = StateNotice["kind"];

/** Nothing is asked of anybody. */
export function isCalm({ kind }: Pick<StateNotice, "kind">): boolean {
  return kind === "well" || kind === "skyActs" || kind === "waiting";
}

/** Nobody takes frames, because somebody said so. */
const RESTING: readonly Kind[] = ["nothingWatches", "pausedByHand"];

/** What the browser's tab says of the night: its title, and which of the icons it carries. */
export function tabOf(
  state: StateNotice | null,
  link: LinkState,
): { readonly title: string; readonly icon: string } {
  if (link === "lost") {
    return { title: `${words.link.sign} ${words.link.tab}`, icon: "/icon-attention.svg" };
  }
  if (state === null) return { title: words.product, icon: "/icon.svg" };
  const title = `${state.sign} ${state.tabTitle}`;
  if (isCalm(state)) return { title, icon: "/icon.svg" };
  return { title, icon: RESTING.includes(state.kind) ? "/icon-rest.svg" : "/icon-attention.svg" };
}
