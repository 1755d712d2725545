// A site's versions: when, which area, the jobs that keep that shape, and each as a file.

import { say } from "../core/say.js";
import { describeVersion } from "../core/shapewords.js";
import { element } from "./element.js";
import { makeMaking } from "./making.js";

/** The part of an open site. */
export function makeVersions({ feed, store }, number) {
  const list = element("ul", { class: "entries" });
  const making = makeMaking();
  const load = async () => {
    const versions = await feed.ask(`/sites/${number}/history`);
    list.replaceChildren(...versions.map((each) => element("li", {}, element("span", {}, describeVersion(each, store.units)),
      element("a", { class: "place", href: feed.siteAddress(number, each.version), download: "", onclick: making.tell(say("site.geojson")) }, say("site.geojson")))));
  };
  const show = () => load().catch((problem) => list.replaceChildren(element("li", {}, problem.message)));
  show();
  return { root: element("details", { class: "shape-way" }, element("summary", {}, say("site.versions")),
    element("p", {}, say("site.shape_of_day")), list, making.line), show };
}
