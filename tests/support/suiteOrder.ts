import { relative, sep } from "node:path";
import { BaseSequencer, type TestSpecification } from "vitest/node";
import { LONG_FILES } from "./longFiles.ts";

/**
 * Long files first, so that none is left over when the others are through; files that share a process
 * last, one after another, which is when the process is kept. On equal terms vitest's own order.
 */
export class LongFilesFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const root = this.ctx.config.root;
    const secondsOf = ({ moduleId }: TestSpecification): number =>
      LONG_FILES[relative(root, moduleId).split(sep).join("/")] ?? 0;
    const whoShares = ({ project }: TestSpecification): string =>
      project.config.isolate ? "" : project.name;
    return (await super.sort(files)).sort(
      (a, b) => whoShares(a).localeCompare(whoShares(b)) || secondsOf(b) - secondsOf(a),
    );
  }
}
