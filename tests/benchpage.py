"""The bench's page in a browser, for tests: what it is asked and told."""

import json

PATIENCE = 120  # s; a busy machine is not a wrong page


class Page:
    """A page that is open, the bench that serves it, and the file that it was opened with."""

    def __init__(self, browser, bench, file):
        self.browser, self.bench, self.file = browser, bench, file

    def run(self, script, *arguments):
        return self.browser.execute_script(script, *arguments)

    def wait(self, script, *arguments):
        from selenium.webdriver.support.ui import WebDriverWait

        WebDriverWait(self.browser, PATIENCE, 0.05).until(lambda _: self.run(f"return {script}", *arguments))

    def find(self, selector):
        return self.browser.find_element("css selector", selector)

    def answered(self, *names):
        for name in names:
            self.wait(f"{json.dumps(name)} in gatesim.bench.latency")

    def settled(self, changes):
        """So many changes are done, and what is shown is the answer to the last one."""
        self.wait(f"gatesim.bench.state.done.length === {changes} && gatesim.bench.settled()")

    def nominal(self, path):
        return self.run("return gatesim.bench.field(arguments[0]).value", path)

    def type(self, path, text):
        from selenium.webdriver.common.keys import Keys

        box = self.find(f"#type-{path.replace('.', '-')}")
        box.send_keys(Keys.CONTROL, "a")
        box.send_keys(text, Keys.ENTER)


def resized(browser, width, height=1000):
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


def opened_page(browser, bench, file=None, *, width=1400, dark=False, calm=False):
    """The bench's page with its pictures drawn. ``calm``: the user asks for reduced motion."""
    wishes = {"prefers-color-scheme": "dark" if dark else "light"}
    wishes["prefers-reduced-motion"] = "reduce" if calm else "no-preference"
    features = [{"name": name, "value": value} for name, value in wishes.items()]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    resized(browser, width)
    browser.get(bench.address)
    page = Page(browser, bench, file)
    page.wait("window.gatesim && gatesim.bench && 'passage' in gatesim.bench.latency")
    return page
